"""The project's tests, sorted by method; benchmarks run as `python -m tests.bench.NAME`."""

import sys
from pathlib import Path

# A checkout's own sources, also where the package is not installed or another copy of it is.
for _room in ("host", "protocol"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / _room))
