"""Where the technician is: vehicle, bumper and position of the round, and how to go on from there."""

from curbtick_wire import classes, names
from curbtick_wire._typing import Mark, Values

# Without a round positions are counted up to this many, on both bumpers of "vehicle 0", and any class will do.
FREE_POSITIONS = 4
FREE_VEHICLE: Values = {
    "vehicle": 0,
    "rear_positions": FREE_POSITIONS,
    "rear_class_khz": classes.CUSTOM,
    "front_positions": FREE_POSITIONS,
    "front_class_khz": classes.CUSTOM,
}
_VEHICLES_MAX = 100


def place_key(vehicle: int, bumper: int, position: int) -> int:
    """One small integer for a position of a vehicle."""
    return (bumper * _VEHICLES_MAX + vehicle) * 8 + position


class Place:
    """A place in the round in hand, or in no round at all.

    `lap` counts how often the last vehicle was left for the first: without a round, another vehicle each time.
    """

    def __init__(self) -> None:
        self.enter_round({})

    def enter_round(self, round_: Values) -> None:
        """Go to the first place of a round (form of codec.unpack_round), or of none (empty)."""
        self.round_id: int = round_["round_id"] if round_ else 0
        self._vehicles: list[Values] = round_["vehicles"] if round_ else [FREE_VEHICLE]
        self._index = 0
        self.lap = 0
        self.bumper = names.REAR
        self.position = 1
        self._enter(names.REAR)

    @property
    def vehicle(self) -> int:
        """The vehicle's number, 0 without a round."""
        number: int = self._vehicles[self._index]["vehicle"]
        return number

    @property
    def positions(self) -> int:
        """How many positions the current bumper has."""
        return self._positions(self.bumper)

    @property
    def class_khz(self) -> int:
        """The sensor class of the current bumper; 0 where any will do or it is a custom one."""
        class_khz: int = self._vehicles[self._index][names.BUMPERS[self.bumper] + "_class_khz"]
        return class_khz

    @property
    def free(self) -> bool:
        """Whether there is no round."""
        return self.round_id == 0

    def key(self, position: int) -> int:
        """The place_key of a position of the current bumper."""
        return place_key(self.vehicle, self.bumper, position)

    def mark(self) -> Mark:
        """Remember the current place for go_back()."""
        return (self._index, self.bumper, self.position, self.lap)

    def go_back(self, mark: Mark) -> None:
        """Return to a marked place."""
        self._index, self.bumper, self.position, self.lap = mark

    def find(self, vehicle: int, bumper: int, position: int) -> bool:
        """Go to a position named by numbers; False, and nowhere, if the round does not have it."""
        for index, one in enumerate(self._vehicles):
            if one["vehicle"] == vehicle and 0 < position <= one[names.BUMPERS[bumper] + "_positions"]:
                self.go_back((index, bumper, position, self.lap))
                return True
        return False

    def at_last(self) -> bool:
        """Whether this is the bumper's last position."""
        return self.position >= self.positions

    def next_position(self) -> None:
        """Go to the next position; after the last one to the next bumper, after that to the next vehicle."""
        if not self.at_last():
            self.position += 1
        elif self.bumper == names.REAR and self._positions(names.FRONT):
            self._enter(names.FRONT)
        else:
            self.next_vehicle()

    def previous_position(self) -> None:
        """Go to the previous position; from the first one to the bumper's last."""
        self.position = self.position - 1 if self.position > 1 else self.positions

    def next_bumper(self) -> None:
        """Go to the first position of the vehicle's other bumper, if it has one."""
        self._enter(names.FRONT if self.bumper == names.REAR else names.REAR)

    def next_vehicle(self) -> None:
        """Go to the first position of the next vehicle; after the last one to the first."""
        self._index = (self._index + 1) % len(self._vehicles)
        if self._index == 0:
            self.lap += 1
        self._enter(names.REAR)

    def _positions(self, bumper: int) -> int:
        count: int = self._vehicles[self._index][names.BUMPERS[bumper] + "_positions"]
        return count

    def _enter(self, bumper: int) -> None:
        self.bumper = bumper if self._positions(bumper) else 1 - bumper
        self.position = 1
