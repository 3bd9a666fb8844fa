"""The energy balance of every run here must close."""

from ..energy_books import energy_balance

__all__ = ["energy_balance"]
