"""Tests by purpose; README.md says where a new one goes."""
