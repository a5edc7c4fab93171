"""How the probe samples its front end: what the firmware, the bench and the yard must agree on.

A level in dBFS compares with a sine of FULL_SCALE_CODES peak. A kernel knows only the constants of its own file, so
it repeats what it needs of these; tests/conventions holds both equal.
"""

RATE_HZ = 250_000
# Samples that are handed on at once, and the time that they take.
BLOCK = 1024
BLOCK_US = 4096
# Half the range of a 12-bit converter, its code for silence, and the highest of its codes.
FULL_SCALE_CODES = 2047.5
MID_CODE = 2048
HIGHEST_CODE = 4095

# The tones that the seal check can listen for, and the one that it does unless told otherwise.
TONE_LOWEST_HZ = 10_000
TONE_HIGHEST_HZ = 20_000
TONE_STEP_HZ = 100
TONE_HZ = 15_000
