"""Firmware written for registers: the part behind them, what is refused, and what runs untouched."""
