"""The wire and record definitions of Curbtick, once, for both ends.

Plain Python in the subset that CPython 3.11+ and MicroPython 1.28+ share; no I/O, no hardware.
"""
