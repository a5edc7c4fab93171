"""What is known of the places of a round: which reading counts at each, and the bumper results made of them."""

from curbtick_wire import codec, names, records
from curbtick_wire.errors import WireError

from curbtick_probe import verdict
from curbtick_probe.app_place import place_key

# So many of the newest records are looked through at start, to go on where the probe was switched off.
RESUME_RECORDS = 60


class Visits:
    """The reading that counts at each place of a round, by its sequence number in the log."""

    def __init__(self, log, round_id):
        self._log = log
        self._round_id = round_id
        self._seqs = {}
        self.unsettled = False

    def resume(self):
        """Look through the newest records for this round's readings; return the newest one's values, or None.

        `unsettled` is then whether no bumper result has followed that reading.
        """
        newest = None
        last = self._log.last_seq or 0
        for seq in range(max(1, last - RESUME_RECORDS + 1), last + 1):
            values = self._reading(seq)
            if values and values["round_id"] == self._round_id:
                self.note(place_key(values["vehicle"], values["bumper"], values["position"]), seq)
                newest = values
                self.unsettled = True
            elif self._is_result(seq):
                self.unsettled = False
        return newest

    def note(self, key, seq):
        """A reading was stored for a place; it is the one that counts from now on."""
        self._seqs[key] = seq

    def seq(self, key):
        """The sequence number of the reading that counts at a place, 0 for none."""
        return self._seqs.get(key, 0)

    def readings(self, place):
        """The readings that count on a bumper: (values or None, sequence number or 0) for each position."""
        found = []
        for position in range(1, place.positions + 1):
            seq = self.seq(place.key(position))
            found.append((self._reading(seq) if seq else None, seq))
        return found

    def _is_result(self, seq):
        data = self._log.read(seq)
        return bool(data) and data[0] == records.BUMPER

    def _reading(self, seq):
        data = self._log.read(seq)
        if not data or data[0] != records.READING:
            return None
        try:
            return codec.decode_record(data)["values"]
        except WireError:
            return None


def complete(readings):
    """Whether every position of a bumper was read."""
    return all(seq for _, seq in readings)


def result_values(place, readings, limit_set):
    """The values of the bumper result record of readings (form of Visits.readings)."""
    result, verdicts, reasons = verdict.bumper_result([values for values, _ in readings], limit_set)
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
