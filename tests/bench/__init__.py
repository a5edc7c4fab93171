"""Benchmarks: each prints one JSON object as its last line and exits 1 where a bound is missed."""

import sys
from pathlib import Path

# A checkout's own sources, also where the package is not installed or another copy of it is.
for _room in ("host", "protocol"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[2] / _room))
