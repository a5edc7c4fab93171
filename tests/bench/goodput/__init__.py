"""Benchmark of a pull beside ZMODEM."""
