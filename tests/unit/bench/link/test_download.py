"""Downloading over a wire that loses frames: every record the probe holds, once, in order, whatever is lost."""

import random

import pytest
from curbtick.errors import LinkError
from curbtick.link.download import Download, _joined
from curbtick.link.line_quality import SLICE_SIZES, LineQuality
from curbtick.link.port import Link
from curbtick.link.request import Patience, SilentError, ask
from curbtick_wire import codec, frames, messages
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.bench.link.loop import LOG_ID, LoopWire, MemoryLog, event, snippet

PACE = 0.0001


def log_of(sizes: list[int], missing: set[int]) -> MemoryLog:
    """A log whose record number i + 1 has a tail of sizes[i] bytes (0: an event), some numbers left out."""
    held = {}
    for place, size in enumerate(sizes):
        if place + 1 not in missing:
            held[place + 1] = snippet(place + 1, size) if size else event(place + 1)
    return MemoryLog(held)


def downloaded(log: MemoryLog, first: int, last: int, loses=lambda number: False) -> list:
    return list(Download(Link(LoopWire(log, loses), PACE), first, last, LOG_ID).batches())


@settings(deadline=None, max_examples=60)
@given(
    sizes=st.lists(st.sampled_from([0, 1, 300, 700]), min_size=1, max_size=120),
    missing=st.sets(st.integers(1, 120), max_size=20),
    loss=st.sampled_from([0.0, 0.02, 0.2, 0.5]),
    first=st.integers(1, 130),
    seed=st.integers(0, 2**32),
)
def test_every_record_once_in_order_whatever_is_lost(sizes, missing, loss, first, seed):
    log = log_of(sizes, missing)
    last = len(sizes)
    chance = random.Random(seed)
    batches = downloaded(log, first, last, lambda number: chance.random() < loss and number % 5 > 0)
    raws = [raw for batch in batches for raw in batch.raws]
    assert raws == [log.held[seq] for seq in sorted(log.held) if first <= seq <= last]
    edges = [(batch.first_seq, batch.last_seq) for batch in batches]
    assert [low for low, _ in edges] == [first, *[high + 1 for _, high in edges[:-1]]][: len(edges)]
    assert not edges or edges[-1][1] == last


def test_a_batch_covers_numbers_without_a_record():
    batches = downloaded(log_of([0] * 10, {1, 4, 9, 10}), 1, 10)
    assert [(batch.first_seq, batch.last_seq) for batch in batches] == [(1, 10)]
    assert len(batches[0].raws) == 6


def test_an_empty_log_is_covered_too():
    assert [(batch.first_seq, batch.last_seq) for batch in downloaded(MemoryLog({}), 3, 5)] == [(3, 5)]


def test_a_log_that_changes_between_rounds_is_read_again():
    log = log_of([700] * 300, set())
    download = Download(Link(LoopWire(log), PACE), 1, 300, LOG_ID)
    batches = download.batches()
    raws = list(next(batches).raws)
    cut = len(raws)
    del log.held[cut + 1]
    raws += [raw for batch in batches for raw in batch.raws]
    assert raws == [snippet(seq, 700) for seq in range(1, 301) if seq != cut + 1]


def test_a_record_that_stays_damaged_stops_the_download_before_it():
    log = log_of([0] * 10, set())
    log.held[6] = log.held[6][:-1] + b"x"
    download = Download(Link(LoopWire(log), PACE), 1, 10, LOG_ID)
    seqs = []
    with pytest.raises(LinkError, match="Record 6"):
        for batch in download.batches():
            seqs += [codec.check_record(raw)["seq"] for raw in batch.raws]
    assert seqs == [1, 2, 3, 4, 5]


def test_a_silent_probe_is_given_up():
    with pytest.raises(LinkError, match="stopped answering before record 1"):
        downloaded(log_of([0] * 5, set()), 1, 5, lambda number: True)


def test_only_lost_slices_are_asked_for_again():
    log = log_of([700] * 100, set())
    lost = {5, 30, 31}
    download = Download(Link(LoopWire(log, lambda number: number in lost), PACE), 1, 100, LOG_ID)
    assert len([raw for batch in download.batches() for raw in batch.raws]) == 100
    assert download.lost == len(lost)


@given(st.data())
def test_slices_held_survive_a_change_of_size(data):
    stream = bytes(range(256)) * 40
    stream = stream[: data.draw(st.integers(1, len(stream)))]
    old, new = data.draw(st.sampled_from(SLICE_SIZES)), data.draw(st.sampled_from(SLICE_SIZES))
    download = Download(Link(LoopWire(MemoryLog({})), PACE), 1, 1, LOG_ID)
    count = -(-len(stream) // old)
    places = data.draw(st.sets(st.integers(0, count - 1)))
    download._size = old
    download._held = {place: stream[place * old : (place + 1) * old] for place in places}
    download._total = count
    download._resize(new)
    assert all(piece == stream[at * new : (at + 1) * new] for at, piece in download._held.items())
    assert download._total in (None, -(-len(stream) // new))
    if new < old:
        assert sum(map(len, download._held.values())) == sum(
            len(stream[place * old : (place + 1) * old]) for place in places
        )


def test_joining_wants_every_part():
    whole = {0: b"a" * 64, 64: b"b" * 64, 128: b"c" * 64}
    assert _joined(whole, 64, 128) == {0: b"a" * 64 + b"b" * 64}
    assert _joined({0: b"a" * 64, 64: b"b" * 9}, 64, 128) == {}


def test_slice_size_follows_the_line():
    clean, bad, awful = LineQuality(), LineQuality(), LineQuality()
    clean.note(128, 0, 1024)
    bad.note(128, 50, 1024)
    for _ in range(5):
        awful.note(128, 120, 1024)
    assert clean.best_size() == 1024
    assert awful.best_size() < bad.best_size() < 1024


@pytest.mark.parametrize("rate", [1e-6, 1e-5, 1e-4])
def test_the_damage_rate_is_estimated(rate):
    """Share of slices lost = 1 - (1 - rate) ** bits, exactly; the estimate comes back within a tenth."""
    quality = LineQuality()
    bits = 8 * (512 + 14)
    for _ in range(20):
        quality.note(100000, round(100000 * (1 - (1 - rate) ** bits)), 512)
    assert quality.damage_per_bit == pytest.approx(rate, rel=0.1)


def test_a_window_is_what_the_message_says():
    assert messages.WINDOW == 128
    assert max(SLICE_SIZES) == 1024
    assert all(large == 2 * small for large, small in zip(SLICE_SIZES, SLICE_SIZES[1:], strict=False))


class Liar:
    """A wire to what answers every read at once with frames of the right request that lead nowhere."""

    def __init__(self, *answers: tuple[int, bytes]) -> None:
        self._answers = answers
        self._reader = frames.FrameReader()
        self._request = 0

    def write(self, data: bytes) -> None:
        self._request = self._reader.feed(data)[-1][1]

    def read(self, _timeout_s: float) -> bytes:
        return b"".join(frames.encode(kind, self._request, payload) for kind, payload in self._answers)

    def close(self) -> None:
        pass


def end(chunks: int, ended: int) -> tuple[int, bytes]:
    kind = messages.READ_END | messages.REPLY
    values = {"chunks": chunks, "ended": ended, "last_seq": 9, "log_id": LOG_ID}
    return kind, messages.pack(kind, values)


CHUNK = messages.READ | messages.REPLY
ENDLESS = {
    "frames of another kind": ((messages.TICKS | messages.REPLY, bytes(8)),),
    "one slice without end": ((CHUNK, b"\x00" + bytes(32)),),
    "slices outside the window": ((CHUNK, b"\xff" + bytes(32)), end(1, 0)),
    "ended, and the slice is missing": (end(1, 1),),
    "not ended, and no slice": (end(0, 0),),
    "empty slices": ((CHUNK, b"\x00"), end(1, 0)),
}


@pytest.mark.parametrize("what", ENDLESS)
def test_a_probe_that_answers_without_end_ends_the_download(what: str) -> None:
    download = Download(Link(Liar(*ENDLESS[what]), PACE), 1, 9, LOG_ID)
    with pytest.raises(LinkError):
        list(download.batches())


def test_a_request_answered_with_something_else_without_end_is_given_up() -> None:
    link = Link(Liar((messages.KEYS | messages.REPLY, b"")), PACE)
    with pytest.raises(SilentError):
        ask(link, messages.TICKS, b"", Patience(first_wait_s=0.01, tries=2))


def test_another_log_ends_the_download() -> None:
    log = MemoryLog({1: event(1), 2: event(2)})
    download = Download(Link(LoopWire(log), PACE), 1, 2, LOG_ID + 1)
    with pytest.raises(LinkError, match="another one now"):
        list(download.batches())
