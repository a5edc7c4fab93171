"""Where the technician is: vehicle, bumper and position of the round, and how to go on from there."""

from curbtick_wire import classes, names

# Without a round positions are counted up to this many, on both bumpers of "vehicle 0", and any class will do.
FREE_POSITIONS = 4
FREE_VEHICLE = {
    "vehicle": 0,
    "rear_positions": FREE_POSITIONS,
    "rear_class_khz": classes.CUSTOM,
    "front_positions": FREE_POSITIONS,
    "front_class_khz": classes.CUSTOM,
}
_VEHICLES_MAX = 100


def place_key(vehicle, bumper, position):
    """One small integer for a position of a vehicle."""
    return (bumper * _VEHICLES_MAX + vehicle) * 8 + position


class Place:
    """A place in a round (form of codec.unpack_round), or in no round at all (None).

    `lap` counts how often the last vehicle was left for the first: without a round, another vehicle each time.
    """

    def __init__(self, round_):
        self.round_id = round_["round_id"] if round_ else 0
        self._vehicles = round_["vehicles"] if round_ else (FREE_VEHICLE,)
        self._index = 0
        self.lap = 0
        self.bumper = names.REAR
        self.position = 1
        self._enter(names.REAR)

    @property
    def vehicle(self):
        """The vehicle's number, 0 without a round."""
        return self._vehicles[self._index]["vehicle"]

    @property
    def positions(self):
        """How many positions the current bumper has."""
        return self._positions(self.bumper)

    @property
    def class_khz(self):
        """The sensor class of the current bumper; 0 where any will do or it is a custom one."""
        return self._vehicles[self._index][names.BUMPERS[self.bumper] + "_class_khz"]

    @property
    def free(self):
        """Whether there is no round."""
        return self.round_id == 0

    def key(self, position):
        """The place_key of a position of the current bumper."""
        return place_key(self.vehicle, self.bumper, position)

    def mark(self):
        """Remember the current place for go_back()."""
        return (self._index, self.bumper, self.position, self.lap)

    def go_back(self, mark):
        """Return to a marked place."""
        self._index, self.bumper, self.position, self.lap = mark

    def find(self, vehicle, bumper, position):
        """Go to a position named by numbers; False, and nowhere, if the round does not have it."""
        for index, one in enumerate(self._vehicles):
            if one["vehicle"] == vehicle and 0 < position <= one[names.BUMPERS[bumper] + "_positions"]:
                self.go_back((index, bumper, position, self.lap))
                return True
        return False

    def at_last(self):
        """Whether this is the bumper's last position."""
        return self.position >= self.positions

    def next_position(self):
        """Go to the next position; after the last one to the next bumper, after that to the next vehicle."""
        if not self.at_last():
            self.position += 1
        elif self.bumper == names.REAR and self._positions(names.FRONT):
            self._enter(names.FRONT)
        else:
            self.next_vehicle()

    def previous_position(self):
        """Go to the previous position; from the first one to the bumper's last."""
        self.position = self.position - 1 if self.position > 1 else self.positions

    def next_bumper(self):
        """Go to the first position of the vehicle's other bumper, if it has one."""
        self._enter(names.FRONT if self.bumper == names.REAR else names.REAR)

    def next_vehicle(self):
        """Go to the first position of the next vehicle; after the last one to the first."""
        self._index = (self._index + 1) % len(self._vehicles)
        if self._index == 0:
            self.lap += 1
        self._enter(names.REAR)

    def _positions(self, bumper):
        return self._vehicles[self._index][names.BUMPERS[bumper] + "_positions"]

    def _enter(self, bumper):
        self.bumper = bumper if self._positions(bumper) else 1 - bumper
        self.position = 1
