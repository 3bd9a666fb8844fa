"""The shipped firmware as a program for a real part: built, measured and held to the part's limits.

    python -m firmware_under_test.targets

Flash, RAM and worst stack, the cycles of every handler and the work of one step, all from the object
code; nothing here runs the firmware.
"""
