"""Benchmark of a probe that runs for months."""
