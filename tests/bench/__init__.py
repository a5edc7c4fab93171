"""Benchmarks: each prints one JSON object as its last line and exits 1 where a bound is missed."""
