"""`Any` for annotations, at both ends: a probe has no typing module and evaluates no annotation."""

try:
    from typing import Any
except ImportError:
    Any = object  # type: ignore[assignment, misc]

__all__ = ["Any"]
