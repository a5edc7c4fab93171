"""Benchmark of the link under random and mutated frames."""
