"""The round in hand: the day's vehicles in order, sent whole by the bench."""

from curbtick_wire import classes, codec, names
from curbtick_wire.errors import WireError

from curbtick_probe.store.limits import Refused
from curbtick_probe.store.slots import Slots


def _check_bumper(vehicle, side):
    field = side + "_class_khz"
    khz, positions = vehicle[field], vehicle[side + "_positions"]
    where = " (vehicle " + str(vehicle["vehicle"]) + ")"
    if not classes.is_class(khz):
        raise Refused(field, str(khz) + " is no class of this probe" + where)
    if positions == 0 and khz:
        raise Refused(field, "is given for a bumper without positions" + where)


def check(round_):
    """Raise Refused where a round (form of codec.unpack_round) makes no sense."""
    seen = []
    for vehicle in round_["vehicles"]:
        number = vehicle["vehicle"]
        if number in seen:
            raise Refused("vehicle", str(number) + " stands twice")
        seen.append(number)
        for side in names.BUMPERS:
            _check_bumper(vehicle, side)
        if vehicle["rear_positions"] + vehicle["front_positions"] == 0:
            raise Refused("rear_positions", "vehicle " + str(number) + " has no position to read")


def parse(data):
    """A round's bytes as a dict, ranges and meaning checked. Raises Refused."""
    try:
        round_ = codec.unpack_round(data)
    except WireError as error:
        raise Refused(error.field, error.why) from error
    check(round_)
    return round_


def _accepts(data):
    try:
        parse(data)
    except Refused:
        return False
    return True


class Rounds:
    """The round under root. `current`: dict of codec.unpack_round, or None before the first round came."""

    def __init__(self, root):
        self._slots = Slots(root, "round", _accepts)
        self.refused = 0
        newest = self._slots.newest
        self.current = parse(newest) if newest else None

    @property
    def data(self):
        """The current round as bytes, empty where there is none."""
        return self._slots.newest or b""

    def put(self, data):
        """Make a round (bytes) the current one; durable on return. The same bytes again change nothing.

        Raises Refused, naming the field, and OSError where flash fails; the current round is then as it was.
        """
        data = bytes(data)
        try:
            round_ = parse(data)
        except Refused:
            self.refused += 1
            raise
        if data != self.data:
            self._slots.put(data)
            self.current = round_
