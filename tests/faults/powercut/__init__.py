"""Power cuts at every operation of the flash: MicroPython programs, and the contract of their doubles."""
