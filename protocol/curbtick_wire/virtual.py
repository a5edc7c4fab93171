"""What a virtual probe and the bench that runs it must agree on, beside the protocol that real probes speak too."""

# The flash: a file of so many blocks, as a stock 2 MB board has them behind MicroPython.
FLASH_BLOCK_BYTES = 4096
FLASH_BLOCKS = 352

# The panel waits so long where it has nothing to do; a bench that sees such a wait knows that the probe is idle.
IDLE_MS = 10_000
