"""dryspin: proves the firmware of brushless drives in virtual time.

Light on purpose: the pytest plugin imports this module in every test session, also in those
that never run a drive. Import the parts (`dryspin.drive`, `dryspin.rig`, ...) where needed.
"""

__version__ = "0.1.0"
