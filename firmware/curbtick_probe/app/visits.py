"""What is known of the places of a round: which reading counts at each, and the bumper results made of them."""

from curbtick_wire import codec, names, records
from curbtick_wire._typing import Range, Values
from curbtick_wire.errors import WireError

from curbtick_probe.app.place import Place, place_key
from curbtick_probe.bumper.result import bumper_result
from curbtick_probe.store.log import Log

_ROUND_RECEIVED = names.EVENTS.index("round_received")


class Visits:
    """The reading that counts at each place of a round, by its sequence number in the log."""

    def __init__(self, log: Log) -> None:
        self._log = log
        self._round_id = 0
        self._lap = 0
        self._seqs: dict[int, int] = {}
        self.stay: list[Range] = []
        self.unsettled = False

    def enter_round(self, round_id: int) -> Values | None:
        """Look through the newest records for a round's readings; return the newest one's values, or None.

        `unsettled` is then whether no bumper result has followed that reading, and `stay` the sequence number and
        reasons of the readings on its bumper since the last result. A round of the same number that came later is
        another one.
        """
        self._round_id = round_id
        self._lap = 0
        self._forget()
        newest: Values | None = None
        last = self._log.last_seq or 0
        for seq in range(max(1, last - records.RESUME_RECORDS + 1), last + 1):
            data = self._log.read(seq) or b"\0"
            if data[0] == records.READING:
                newest = self._resume_at(seq, decoded(data), newest)
            elif data[0] == records.BUMPER:
                self.unsettled = False
                self.stay = []
            elif data[0] == records.EVENT and self._is_new_round(decoded(data)):
                self._forget()
                newest = None
        return newest

    def _resume_at(self, seq: int, values: Values | None, newest: Values | None) -> Values | None:
        """Take in a reading found in the log; return the newest one of the round so far."""
        if not values or values["round_id"] != self._round_id:
            return newest
        key = place_key(values["vehicle"], values["bumper"], values["position"])
        if not self._round_id and key in self._seqs and not values["supersedes_seq"]:
            self._forget()
        if not newest or (newest["vehicle"], newest["bumper"]) != (values["vehicle"], values["bumper"]):
            self.stay = []
        self.stay.append((seq, values["reasons"]))
        self.note(key, seq)
        self.unsettled = True
        return values

    def _is_new_round(self, values: Values | None) -> bool:
        if not values:
            return False
        return bool(values["event"] == _ROUND_RECEIVED and values["value"] == self._round_id)

    def _forget(self) -> None:
        self._seqs = {}
        self.stay = []
        self.unsettled = False

    def enter_lap(self, place: Place) -> None:
        """Without a round every lap is another vehicle: forget the one before when a reading is taken of the next."""
        if place.free and place.lap != self._lap:
            self._lap = place.lap
            self._forget()

    def note(self, key: int, seq: int) -> None:
        """A reading was stored for a place; it is the one that counts from now on."""
        self._seqs[key] = seq

    def seq(self, key: int) -> int:
        """The sequence number of the reading that counts at a place, 0 for none."""
        return self._seqs.get(key, 0)

    def readings(self, place: Place) -> list[tuple[Values | None, int]]:
        """The readings that count on a bumper: (values or None, sequence number or 0) for each position."""
        found = []
        for position in range(1, place.positions + 1):
            seq = self.seq(place.key(position))
            found.append((self._reading(seq) if seq else None, seq))
        return found

    def _reading(self, seq: int) -> Values | None:
        data = self._log.read(seq)
        return decoded(data) if data and data[0] == records.READING else None


def decoded(data: bytes) -> Values | None:
    """The values of a record's bytes; None where they make no sense."""
    try:
        values: Values = codec.decode_record(data)["values"]
    except WireError:
        return None
    return values


def complete(readings: list[tuple[Values | None, int]]) -> bool:
    """Whether every position of a bumper was read."""
    return all(seq for _, seq in readings)


def result_values(place: Place, readings: list[tuple[Values | None, int]], limit_set: Values) -> Values:
    """The values of the bumper result record of readings (form of Visits.readings)."""
    result, verdicts, reasons = bumper_result([values for values, _ in readings], limit_set)
    missing = names.BUMPER_POSITIONS_MAX - len(readings)
    return {
        "round_id": place.round_id,
        "vehicle": place.vehicle,
        "bumper": place.bumper,
        "positions": place.positions,
        "class_khz": place.class_khz,
        "result": result,
        "limits_revision": limit_set["revision"],
        "verdicts": tuple(verdicts[: len(readings)]) + (names.RETRY,) * missing,
        "reasons": tuple(reasons[: len(readings)]) + (0,) * missing,
        "reading_seqs": tuple(seq for _, seq in readings) + (0,) * missing,
    }
