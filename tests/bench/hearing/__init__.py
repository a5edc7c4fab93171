"""What lets the firmware hear the scenes of the second yard, which itself knows nothing of a probe.

`firmware`: the bench's side. `probe.py`: the program that runs under MicroPython on the virtual board.
"""
