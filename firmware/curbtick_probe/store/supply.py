"""Whether the supply carries a write to flash: asked before each, for a write that it fails under loses data."""

from curbtick_wire._typing import Callable
from micropython import const

# Three NiMH cells at 1.0 V each are empty. The 40-pad board's converter holds its 3.3 V from 1.8 V up (its data sheet,
# from memory), so what sags below this by an erase's current still ends well.
WRITE_LEAST_MV = const(3000)

_measure: list[Callable[[], int]] = []


def attach(battery_mv: Callable[[], int]) -> None:
    """Ask this for the supply's voltage from now on; before that every write is taken to be carried."""
    _measure.clear()
    _measure.append(battery_mv)


def is_enough() -> bool:
    """Whether a write may begin now."""
    return not _measure or _measure[0]() >= WRITE_LEAST_MV
