"""Kernels under MicroPython's unix port."""
