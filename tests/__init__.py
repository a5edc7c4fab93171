"""The project's tests, sorted by method; benchmarks run as `python -m tests.bench.NAME`."""
