"""Which sequence numbers of a probe are stored, as unbroken ranges: what an acknowledgement may name."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from sqlalchemy import Connection, bindparam, delete, select, update

from curbtick.store import tables

Run = tuple[int, int]


_OF_PROBE = (
    select(tables.runs.c.first_seq, tables.runs.c.last_seq)
    .where(tables.runs.c.probe_id == bindparam("probe_id"))
    .order_by(tables.runs.c.first_seq)
)
_GROW = (
    update(tables.runs)
    .where(tables.runs.c.probe_id == bindparam("probe"), tables.runs.c.first_seq == bindparam("first"))
    .values(last_seq=bindparam("last"))
)


def of(connection: Connection, probe_id: int) -> list[Run]:
    """Ranges (first, last) stored of a probe, lowest first."""
    return [(row[0], row[1]) for row in connection.execute(_OF_PROBE, {"probe_id": probe_id})]


def extend(connection: Connection, probe_id: int, more: Sequence[Run]) -> None:
    """Add ranges of sequence numbers that are now stored, or known to be gone from the probe."""
    before = of(connection, probe_id)
    after = merged([*before, *more])
    if len(before) == len(after) and before[:-1] == after[:-1] and before and before[-1][0] == after[-1][0]:
        connection.execute(_GROW, {"probe": probe_id, "first": after[-1][0], "last": after[-1][1]})
        return
    columns = tables.runs.c
    gone = [run[0] for run in set(before) - set(after)]
    if gone:
        connection.execute(
            delete(tables.runs).where(columns.probe_id == probe_id, columns.first_seq.in_(gone))
        )
    joined = [
        {"probe_id": probe_id, "first_seq": run[0], "last_seq": run[1]} for run in set(after) - set(before)
    ]
    if joined:
        connection.execute(tables.runs.insert(), joined)


def of_numbers(seqs: Sequence[int]) -> list[Run]:
    """Ranges of different sequence numbers."""
    if seqs and max(seqs) - min(seqs) + 1 == len(seqs):
        return [(min(seqs), max(seqs))]
    return merged((seq, seq) for seq in seqs)


def merged(runs: Iterable[Run]) -> list[Run]:
    """Join ranges that touch or overlap."""
    joined: list[Run] = []
    for first, last in sorted(runs):
        if joined and first <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]))
        else:
            joined.append((first, last))
    return joined


def contiguous_to(runs: Sequence[Run], first_seq: int) -> int:
    """Highest number up to which everything from first_seq on is stored; first_seq - 1 if it is not itself."""
    return next((last for first, last in runs if first <= first_seq <= last), first_seq - 1)


def gaps(runs: Sequence[Run]) -> list[Run]:
    """Ranges that are missing between the stored ones."""
    return [(before[1] + 1, after[0] - 1) for before, after in pairwise(runs)]
