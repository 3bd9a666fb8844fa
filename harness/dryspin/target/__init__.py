"""The firmware's object code for the part: what its instructions take, charged to the host's blocks."""

from dryspin.target.costs import BlockCosts, block_costs

__all__ = ["BlockCosts", "block_costs"]
