"""Shared by the benchmarks of limit and measure: bursts of a shape, and the firmware that listens to them."""
