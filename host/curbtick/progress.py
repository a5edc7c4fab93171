"""How long work tells how far it is."""

from collections.abc import Callable

Progress = Callable[[int, int], object]
"""Called with how much is done and how much there is in all."""
