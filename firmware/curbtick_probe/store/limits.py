"""The limit set in force: whole sets with a revision, the newest valid one first, the factory set last."""

from curbtick_wire import classes, codec, settings
from curbtick_wire.errors import WireError

from curbtick_probe.store.slots import Slots

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


class Refused(Exception):
    """A limit set or a round that is not taken. field: the field at fault; why: plain words."""

    def __init__(self, field, why):
        super().__init__(field + ": " + why)
        self.field = field
        self.why = why


def _check_class(one):
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


def check(limits):
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


def parse(data):
    """A limit set's bytes as a dict, ranges and meaning checked. Raises Refused."""
    try:
        limits = codec.unpack_limits(data)
    except WireError as error:
        raise Refused(error.field, error.why) from error
    check(limits)
    return limits


def _accepts(data):
    try:
        parse(data)
    except Refused:
        return False
    return True


class Limits:
    """The limit sets under root.

    `in_force`: dict of codec.unpack_limits; `refused`: sets refused since start.
    """

    def __init__(self, root):
        self._slots = Slots(root, "limits", _accepts)
        self.refused = 0
        newest = self._slots.newest
        self.in_force = parse(newest) if newest else codec.factory_limits()

    @property
    def revision(self):
        """The revision of the set in force."""
        return self.in_force["revision"]

    @property
    def data(self):
        """The set in force as bytes, as codec.pack_limits makes them."""
        return self._slots.newest or codec.pack_limits(self.in_force)

    def for_class(self, khz):
        """The limits of a class as a dict, or None where the set in force has none for it."""
        for one in self.in_force["classes"]:
            if one["class_khz"] == khz:
                return one
        return None

    def history(self):
        """Revisions at hand, newest first: the set in force, the one before it, the factory set."""
        older = self._slots.older()
        sets = [self.in_force, parse(older) if older else None, codec.factory_limits()]
        revisions = []
        for one in sets:
            if one and one["revision"] not in revisions:
                revisions.append(one["revision"])
        return revisions

    def put(self, data):
        """Put a limit set (bytes) in force; durable on return.

        The same bytes again change nothing. Raises Refused, naming the field, for a set that is out of range,
        contradicts itself, or whose revision is not above the one in force; OSError where flash fails.
        """
        try:
            limits = self._judge(bytes(data))
        except Refused:
            self.refused += 1
            raise
        if limits:
            self._slots.put(bytes(data))
            self.in_force = limits

    def _judge(self, data):
        limits = parse(data)
        if limits["revision"] > self.revision:
            return limits
        if data == self.data:
            return None
        if limits["revision"] == self.revision:
            raise Refused("revision", "stands for another set already in force")
        raise Refused("revision", "is older than revision " + str(self.revision) + " in force")
