"""Benchmark of many benches on one server."""
