"""Benchmark of the tests themselves: mutants that none of them notices."""
