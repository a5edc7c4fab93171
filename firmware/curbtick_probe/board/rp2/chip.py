"""Which of the two chips this is."""

import sys

RP2350 = "RP2350" in sys.implementation._machine
