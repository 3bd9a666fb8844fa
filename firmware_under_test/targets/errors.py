"""What stands between a firmware and its measures."""

from dryspin.errors import TargetError

__all__ = ["TargetError", "ToolchainError"]


class ToolchainError(TargetError):
    """The part's compiler, linker or C library is not installed. Remedy: the package is named."""
