"""Shared by the benchmarks of the seal and the hiss check: the probe's side, the bench's, the statistics."""
