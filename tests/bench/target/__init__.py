"""Benchmark of the firmware on the chip: time and memory."""
