"""Records with right CRCs, and a right proof, whose values or tails are outside the tables."""

from collections.abc import Callable

from tests.bench.evilprobe.probe import record
from tests.bench.evilprobe.tables import KINDS, out_of_range, pack, record_table
from tests.bench.evilprobe.ways import TOP, Lie, filled, truth_of


def of_values() -> list[Lie]:
    """Records with right CRCs and a right proof, whose values no probe writes."""
    return [
        Lie(f"record: {name}", truth_of, knows_key=True, fill=filled(*makers))
        for name, makers in records_out_of_range().items()
    ]


def records_out_of_range() -> dict[str, list[Callable[[int], bytes]]]:
    """For each record kind, a record for each value outside each field's range, and tails that lie."""
    makers: dict[str, list[Callable[[int], bytes]]] = {}
    for name in KINDS:
        for row in record_table(name):
            for value in out_of_range(row):
                makers.setdefault(name, []).append(with_value(name, row.name, value))
    return {**makers, "tails": tails(), "kinds and layouts not known": unknown()}


def with_value(kind: str, field: str, value: int) -> Callable[[int], bytes]:
    """A record's maker: one field has this value."""
    return lambda seq: record(KINDS[kind], seq, pack(record_table(kind), {field: value}))


def tails() -> list[Callable[[int], bytes]]:
    """Snippets shorter and longer than their counts, sounds that are not there, a crash in no ASCII."""
    shapes = [
        ("snippet", {"reading_seq": 2, "rate_hz": 250_000, "sample_count": 512, "envelope_count": 200}, b"\x01" * 5),
        ("snippet", {"reading_seq": 2, "rate_hz": 1, "sample_count": 0}, b"\x01" * 500),
        ("snippet", {"reading_seq": TOP, "rate_hz": 1_000_000, "sample_count": 4, "start_us": 4_000_000}, b"\x80" * 4),
        ("snippet", {"reading_seq": 1, "rate_hz": 1, "sample_count": 4, "envelope_count": 4}, b"\xff" * 8),
        ("sounds", {"reading_seq": 2, "count": 80}, b""),
        ("sounds", {"reading_seq": 2, "count": 1, "first": 65535}, b"\xff" * 9),
        ("crash", {"cause": 255}, b"\x1b[2J\xff<script>"),
        ("reading", {"position": 1}, b"more than it should have"),
    ]  # fmt: skip
    return [
        lambda seq, shape=shape: record(
            KINDS[shape[0]], seq, pack(record_table(shape[0]), shape[1]) + shape[2]
        )  # type: ignore[misc]
        for shape in shapes
    ]


def unknown() -> list[Callable[[int], bytes]]:
    """Kinds and layouts of another age, and a known kind that is too short."""
    return [
        lambda seq: record(200, seq, bytes(30), layout=9),
        lambda seq: record(KINDS["reading"], seq, bytes(66), layout=2),
        lambda seq: record(KINDS["reading"], seq, b""),
        lambda seq: record(KINDS["bumper"], seq, bytes(3)),
    ]
