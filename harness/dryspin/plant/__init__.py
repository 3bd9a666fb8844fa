"""The machine, its bridge and its supply.

`equations` is the model of record: plain textbook equations, integrated step by step. `twin` is the
compiled event-driven one; both keep the same contract and share no code. `parameters` holds what
both are given.
"""
