"""The limit set in force: whole sets with a revision, the newest valid one first, the factory set last."""

from curbtick_wire import classes, codec, settings
from curbtick_wire._typing import Values

from curbtick_probe.store.settings.setting import Refused, Revised

# Pairs of fields of a class of which the first must be below the second.
_ORDER = (
    ("dead_cdb", "pass_cdb"),
    ("neighbour_cdb", "dead_cdb"),
    ("interval_min_ms", "interval_max_ms"),
    ("ringdown_min_us", "ringdown_max_us"),
)
# The front end hears 30 to 80 kHz; a class's window may not reach further out than this.
_LOWEST_HZ = 20000
_HIGHEST_HZ = 90000


def _check_class(one: Values) -> None:
    khz = one["class_khz"]
    where = "class_khz " + str(khz)
    if not classes.is_class(khz):
        raise Refused("class_khz", str(khz) + " is no class of this probe")
    for lower, upper in _ORDER:
        if one[lower] >= one[upper]:
            raise Refused(lower, "is not below " + upper + " in " + where)
    if one["dead_cdb"] < settings.DEAD_LEAST_CDB:
        raise Refused("dead_cdb", "is where a neighbour would pass for the sensor in " + where)
    centre, window = one["centre_hz"], one["window_hz"]
    if khz != classes.CUSTOM and abs(centre - khz * 1000) > window:
        raise Refused("centre_hz", "is further than window_hz from " + where)
    if centre - window < _LOWEST_HZ or centre + window > _HIGHEST_HZ:
        raise Refused("window_hz", "reaches outside what the probe hears in " + where)
    if one["burst_max_us"] >= one["interval_min_ms"] * 1000:
        raise Refused("burst_max_us", "is not below interval_min_ms in " + where)


def check(limits: Values) -> None:
    """Raise Refused where a limit set (form of codec.unpack_limits) contradicts itself."""
    if limits["high_floor_min_cdb"] >= limits["high_floor_max_cdb"]:
        raise Refused("high_floor_min_cdb", "is not below high_floor_max_cdb")
    if limits["high_floor_min_cdb"] < settings.LIVE_LEAST_CDB:
        raise Refused("high_floor_min_cdb", "is where a missing microphone would pass for a live one")
    seen = []
    for one in limits["classes"]:
        if one["class_khz"] in seen:
            raise Refused("class_khz", str(one["class_khz"]) + " stands twice")
        seen.append(one["class_khz"])
        _check_class(one)


class Limits(Revised):
    """The limit sets under root: `current` is the set in force, a dict of codec.unpack_limits."""

    def __init__(self, root: str) -> None:
        super().__init__(root, "limits", codec.unpack_limits, check, codec.factory_limits())

    @property
    def data(self) -> bytes:
        """The set in force as bytes, as codec.pack_limits makes them."""
        return self._slots.newest or codec.pack_limits(self.current)

    def for_class(self, khz: int) -> Values | None:
        """The limits of a class as a dict, or None where the set in force has none for it."""
        rows: list[Values] = self.current["classes"]
        for row in rows:
            if row["class_khz"] == khz:
                return row
        return None
