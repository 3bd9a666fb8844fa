"""What stands between a firmware and its measures."""

from dryspin.errors import DryspinError


class TargetError(DryspinError):
    """The object code cannot be made, or not be measured.

    Causes: the compiler objects; a loop without a known bound, recursion, a jump through a pointer.
    Remedy: the message names the place and what to write or change.
    """


class ToolchainError(TargetError):
    """The part's compiler, linker or C library is not installed. Remedy: the package is named."""
