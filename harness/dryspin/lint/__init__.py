"""What can be said of the firmware without running it: the part's compiler, its stack, its memory."""

from dryspin.lint.look import Looked, look
from dryspin.lint.stack import StackUse
from dryspin.lint.target import Warned

__all__ = ["Looked", "StackUse", "Warned", "look"]
