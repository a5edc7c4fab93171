"""The round in hand: the day's vehicles in order, sent whole by the bench."""

from curbtick_wire import classes, codec, names
from curbtick_wire._typing import Values

from curbtick_probe.store.settings.setting import Refused, Setting


def _check_bumper(vehicle: Values, side: str) -> None:
    field = side + "_class_khz"
    khz, positions = vehicle[field], vehicle[side + "_positions"]
    where = " (vehicle " + str(vehicle["vehicle"]) + ")"
    if not classes.is_class(khz):
        raise Refused(field, str(khz) + " is no class of this probe" + where)
    if positions == 0 and khz:
        raise Refused(field, "is given for a bumper without positions" + where)


def check(round_: Values) -> None:
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


class Rounds(Setting):
    """The round under root: `current` is a dict of codec.unpack_round, empty before the first round came."""

    def __init__(self, root: str) -> None:
        super().__init__(root, "round", codec.unpack_round, check, {})
