"""`python -m dryspin.cli` is the `dryspin` command, where the script is not on the path."""

from dryspin.cli import main

main()
