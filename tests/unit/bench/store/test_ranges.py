"""Records whose values no probe writes: kept as they came, and taken for nothing."""

from typing import Any

import pytest
from curbtick.store.decode import decode
from curbtick_wire import records

from tests.unit.bench import benchdata


@pytest.mark.parametrize(
    ("kind", "values", "tail"),
    [
        (records.READING, {"verdict": 4}, b""),
        (records.READING, {"level_cdb": 601}, b""),
        (records.READING, {}, b"more"),
        (records.SNIPPET, {"rate_hz": 2**32 - 1}, b""),
        (records.SNIPPET, {"rate_hz": 1, "sample_count": 9}, b"short"),
        (records.SOUNDS, {"reading_seq": 1, "count": 2}, bytes(9)),
        (records.SOUNDS, {"reading_seq": 1, "count": 1}, bytes(8) + b"\xff"),
        (records.BUMPER, {"positions": 1, "verdicts": (0, 0, 0, 0, 0, 4)}, b""),
    ],
)
def test_a_record_out_of_range_is_kept_raw(kind: int, values: dict[str, Any], tail: bytes) -> None:
    zeros = {form[0]: (0,) * int(form[1][:-1]) for form in fields_of(kind) if len(form[1]) > 1}
    raw = benchdata.record(kind, 7, {**zeros, **values}, tail=tail)
    found = decode(raw)
    assert (found.seq, found.kind, found.raw, found.row) == (7, kind, raw, None)


def fields_of(kind: int) -> tuple[tuple[str, str, int, int], ...]:
    return next(entry[2] for entry in records.KINDS if entry[0] == kind)
