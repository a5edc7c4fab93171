"""Benchmark of the verdict on the invented yard."""
