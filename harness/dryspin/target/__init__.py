"""The firmware's object code for the part: what its instructions take, charged to the host's code."""

from dryspin.target.costs import CodeCosts, code_costs

__all__ = ["CodeCosts", "code_costs"]
