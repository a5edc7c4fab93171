"""Paths that every test shares: firmware modules import on CPython, with a `micropython` shim."""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
for folder in ("host", "protocol", "firmware", "tests/shim"):
    path = str(ROOT / folder)
    if path not in sys.path:
        sys.path.append(path)
