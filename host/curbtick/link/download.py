"""Reading the log: slices of the record stream, lost ones asked for again, cut back into records.

The probe cuts its records from a place on into numbered slices (the message table's `read`), the same ones
each time it is asked. A window of slices slides over the log: each round asks for the slices of the window
that are missing. Slices get shorter on a line that damages many.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from curbtick_wire import codec, messages, records
from curbtick_wire.errors import WireError

from curbtick.errors import LinkError
from curbtick.link.allowance import Allowance
from curbtick.link.line_quality import SLICE_SIZES, LineQuality
from curbtick.link.port import Link
from curbtick.link.replies import fitting
from curbtick.link.request import refusal

# Few at first: how the line is shows in them already.
_FIRST_ROUND_SLICES = 16
_IDLE_S = 0.5
_IDLE_MAX_S = 3.0
_BABBLE_MAX_S = 10.0
_SILENT_ROUNDS_MAX = 5
_DAMAGED_MAX = 4
# Rounds in a row that may bring nothing new, whatever the probe says meanwhile.
_FRUITLESS_ROUNDS_MAX = 12
# Frames of one round: each slice once, the end, and as many again for what is sent twice.
_FRAMES_MAX = 2 * (messages.WINDOW + 1)
_CHUNK = messages.READ | messages.REPLY
_END = messages.READ_END | messages.REPLY
_ERROR = messages.ERROR | messages.REPLY
_SIZE_FIELD = slice(2, 4)
_HEADER_SIZE = codec.size_of(records.HEADER)


@dataclass(frozen=True)
class Batch:
    """Whole records in order: every one that the probe still has from first_seq to last_seq.

    Numbers in that range without a record are gone from the probe for good: snippets it dropped, damage it
    found.
    """

    first_seq: int
    last_seq: int
    raws: tuple[bytes, ...]


class Download:
    """One pass over the log.

    link: an open link; from_seq, until_seq: the range of records asked for; log_id: of the log that is read. Counters:
    `rounds`, and `lost`, slices that had to be asked for again.
    """

    def __init__(self, link: Link, from_seq: int, until_seq: int, log_id: int) -> None:
        self._link = link
        self._log_id = log_id
        self._next_seq = max(from_seq, 1)
        self._until_seq = until_seq
        self._quality = LineQuality()
        self._width = _FIRST_ROUND_SLICES
        self._idle_s = _IDLE_S
        self._silent = self._damaged = self._fruitless = 0
        self.lost = self.rounds = 0
        self._allowance = Allowance()
        self._restart(SLICE_SIZES[0])

    def _restart(self, size: int) -> None:
        """Begin a window at the next whole record, with slices of size bytes."""
        self._partial = bytearray()
        self._size = size
        self._held: dict[int, bytes] = {}
        self._total: int | None = None

    def _resize(self, size: int) -> None:
        """Go on with slices of another size, keeping what is held as far as it makes whole ones."""
        last = self._held.get(self._total - 1) if self._total else None
        places = {index * self._size: data for index, data in self._held.items()}
        if size < self._size:
            cut = {
                at + k: data[k : k + size] for at, data in places.items() for k in range(0, len(data), size)
            }
        else:
            cut = _joined(places, self._size, size)
        end = None if last is None or not self._total else (self._total - 1) * self._size + len(last)
        self._held = {at // size: data for at, data in cut.items()}
        self._total = None if end is None else -(-end // size)
        self._size = size

    def batches(self) -> Iterator[Batch]:
        """The records, batch by batch as rounds bring them. Raises LinkError when the probe falls silent or stalls."""
        self._allowance = Allowance()
        while self._next_seq <= self._until_seq:
            self._allowance.check(self._next_seq)
            got = self._round()
            batch = self._take()
            self._judge_fruit(got > 0 or batch is not None)
            if batch:
                yield batch

    def _round(self) -> int:
        """Ask for the missing slices of the window and collect what comes: how many came that were missing."""
        reach = self._width if self._total is None else min(self._width, self._total)
        wanted = [index for index in range(max(reach, 1)) if index not in self._held]
        request = self._link.next_id()
        self._link.send(messages.READ, request, self._request(wanted))
        sent, got = self._collect(request, wanted)
        self.rounds += 1
        self.lost += sent - got
        self._quality.note(sent, sent - got, self._size)
        self._width = messages.WINDOW
        self._judge_silence(got)
        return got

    def _request(self, wanted: list[int]) -> bytes:
        mask = sum(1 << index for index in wanted)
        values = {
            "from_seq": self._next_seq,
            "from_byte": len(self._partial),
            "until_seq": self._until_seq,
            "chunk": self._size,
            "wanted": mask.to_bytes(messages.WINDOW // 8, "little"),
        }
        return messages.pack(messages.READ, values)

    def _collect(self, request: int, wanted: list[int]) -> tuple[int, int]:
        """Hold the slices that come until the end is told or nothing comes: (slices sent, slices got)."""
        got: set[int] = set()
        for _ in range(_FRAMES_MAX):
            left_s = self._allowance.left_s()
            frame = (
                self._link.receive(request, self._idle_s, min(_BABBLE_MAX_S, left_s)) if left_s > 0 else None
            )
            if frame is None:
                break
            if frame.kind == _CHUNK and len(frame.payload) > 1:
                if frame.payload[0] in wanted:
                    self._hold(frame.payload, got)
            elif frame.kind == _END:
                return self._end(frame.payload, wanted), len(got)
            elif frame.kind == _ERROR:
                raise refusal(frame.payload)
        return _up_to(wanted, max(got, default=-1)), len(got)

    def _hold(self, payload: bytes, got: set[int]) -> None:
        """Keep a slice that was wanted: its index, then its bytes."""
        index = payload[0]
        if index not in got:
            self._allowance.step(len(payload) - 1)
        self._held[index] = payload[1:]
        got.add(index)

    def _end(self, payload: bytes, wanted: list[int]) -> int:
        values = fitting(lambda data: messages.unpack(_END, data)[0], payload)
        if values["log_id"] != self._log_id:
            raise LinkError(
                f"The probe's log is another one now: {values['log_id']:08x} instead of {self._log_id:08x}.",
                "What was received whole is kept; it belongs to the log before.",
                "Pull again: the new log is taken over from its beginning.",
            )
        if values["ended"]:
            self._total = values["chunks"]
        self._silent = 0
        return _up_to(wanted, values["chunks"] - 1)

    def _judge_silence(self, got: int) -> None:
        if got or self._total is not None:
            self._silent = 0
            self._idle_s = max(self._idle_s / 2, _IDLE_S)
            return
        self._silent += 1
        self._idle_s = min(2 * self._idle_s, _IDLE_MAX_S)
        if self._silent >= _SILENT_ROUNDS_MAX:
            raise LinkError(
                f"The probe stopped answering before record {self._next_seq}.",
                "What was received whole is kept; the probe keeps everything that is not acknowledged.",
                "See that it is plugged in and switched on, and pull again: it goes on where it stopped.",
            )

    def _judge_fruit(self, fruitful: bool) -> None:
        """End a download whose probe goes on answering and sends nothing that is missing."""
        self._fruitless = 0 if fruitful else self._fruitless + 1
        if self._fruitless >= _FRUITLESS_ROUNDS_MAX:
            raise LinkError(
                f"The probe answers, and does not send record {self._next_seq} nor what follows it.",
                "What was received whole is kept; the probe keeps everything that is not acknowledged.",
                "Pull again; if it stays so, switch the probe off and on, and ask what is plugged in.",
            )

    def _take(self) -> Batch | None:
        """Cut the slices held without a hole from the window's start into records, and slide the window on."""
        count = 0
        while count in self._held:
            self._partial += self._held.pop(count)
            count += 1
        self._held = {index - count: data for index, data in self._held.items()}
        if self._total is not None:
            self._total -= count
        batch = self._cut(first_seq=self._next_seq)
        best = self._quality.best_size()
        if best != self._size and self._next_seq <= self._until_seq:
            self._resize(best)
        return batch

    def _cut(self, first_seq: int) -> Batch | None:
        raws: list[bytes] = []
        try:
            while raw := self._whole_record():
                self._next_seq = self._checked_seq(raw) + 1
                raws.append(raw)
            if self._total == 0:
                self._finish()
        except WireError as error:
            self._recover(error)
        if self._next_seq == first_seq:
            return None
        self._damaged = 0
        return Batch(first_seq, self._next_seq - 1, tuple(raws))

    def _whole_record(self) -> bytes:
        """The first record of the bytes at hand, taken off them; empty while it is not whole."""
        if len(self._partial) < _HEADER_SIZE:
            return b""
        size = int.from_bytes(self._partial[_SIZE_FIELD], "little")
        if not _HEADER_SIZE < size <= records.SNIPPET_MAX:
            raise WireError("size", f"{size} is no record's size")
        if len(self._partial) < size:
            return b""
        raw = bytes(self._partial[:size])
        del self._partial[:size]
        return raw

    def _checked_seq(self, raw: bytes) -> int:
        seq: int = codec.check_record(raw)["seq"]
        if not self._next_seq <= seq <= self._until_seq:
            raise WireError("seq", f"{seq} is out of order")
        return seq

    def _finish(self) -> None:
        """The records ended: what is missing up to the last number asked for is not on the probe."""
        if self._partial:
            raise WireError("record", "the log ends inside it")
        self._next_seq = self._until_seq + 1

    def _recover(self, error: WireError) -> None:
        """Slices that do not fit together: the log changed between two rounds. Start again at the last
        record.
        """
        self._damaged += 1
        if self._damaged > _DAMAGED_MAX:
            raise LinkError(
                f"Record {self._next_seq} does not come whole from the probe ({error}).",
                "Everything before it is kept; it and what follows stay on the probe, unacknowledged.",
                "Pull again; if it stays so, run the probe's self-test and keep its storage for a look.",
            ) from error
        self._restart(self._size)


def _up_to(wanted: list[int], last: int) -> int:
    """How many of the wanted slices the probe has sent when it has come to the last one."""
    return sum(index <= last for index in wanted)


def _joined(places: dict[int, bytes], small: int, large: int) -> dict[int, bytes]:
    """Slices of the large size, by their place in bytes, of which every small one is held."""
    starts = {at - at % large for at in places}
    whole = {at: [places.get(at + k, b"") for k in range(0, large, small)] for at in starts}
    return {at: b"".join(parts) for at, parts in whole.items() if all(len(part) == small for part in parts)}
