"""What every test shares: firmware modules import on CPython, with a `micropython` shim; no test is timed by chance."""

import sys
from pathlib import Path

from hypothesis import settings

# How long one example takes says more about what else the machine does than about the code.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

ROOT = Path(__file__).resolve().parents[1]
for folder in ("host", "protocol", "firmware", "tests/shim"):
    path = str(ROOT / folder)
    if path not in sys.path:
        sys.path.append(path)
