"""Benchmark of a history of a million readings."""
