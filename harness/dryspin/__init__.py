"""dryspin: proves the firmware of brushless drives in virtual time.

Light on purpose: `dryspin --help` must not wait for numpy. Import the parts (`dryspin.drive`,
`dryspin.rig`, ...) where needed.
"""

__version__ = "0.1.0"
