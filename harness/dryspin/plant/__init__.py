"""The machine, its bridge and its supply: see README.md.

`equations` is the model of record: plain textbook equations, integrated step by step. The core's
compiled plant keeps the same contract (`contract`) and shares no code with it. `parameters` holds
what both are given.
"""
