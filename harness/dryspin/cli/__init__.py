"""The `dryspin` command."""

from dryspin.cli.command import main

__all__ = ["main"]
