"""New entries into the cache: each subject that they concern is folded again from all entries on it.

The state of a subject is a pure function of the entries that concern it, so it does not matter in which order entries
arrive, nor whether one arrives twice.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from sqlalchemy import Connection

from curbtick.store import tables
from curbtick.store.fold import facts, fleet, placing, probes
from curbtick.store.journal import entries as journal
from curbtick.store.journal.entries import Entry

_TOUCHES = tuple(column.name for column in tables.touches.columns)


def entries(connection: Connection, arrived: Sequence[Entry]) -> None:
    """Bring the cache up to date with entries that were just inserted."""
    rows = [(subject, *row) for row, one in _names(arrived) for subject in one.subjects]
    if rows:
        connection.execute(tables.touches.insert(), [dict(zip(_TOUCHES, row, strict=True)) for row in rows])
    rivals = _rivals(connection, arrived)
    alone = _alone(connection, arrived, rivals)
    facts.fold_alone(connection, alone)
    done = {one.digest for one in alone}
    rest = [one for one in arrived if one.digest not in done]
    void = [one for one in rest if one.kind == "forked" and one.values is not None]
    concerned = [*rest, *rivals, *(one for fork in void for one in _moved(connection, fork))]
    if concerned:
        _fold(connection, {subject for one in concerned for subject in one.subjects})


def _alone(connection: Connection, arrived: Sequence[Entry], rivals: Sequence[Entry]) -> list[Entry]:
    """New entries that say the same whatever else was noted: a pull brings many, so they are folded at once."""
    simple = [one for one in arrived if one.kind in facts.ALONE and one.values is not None]
    if not simple:
        return []
    names = Counter(one.name for one in (*arrived, *rivals))
    counting = journal.counting(connection, simple)
    return [one for one in counting if names[one.name] == 1]


def _names(arrived: Iterable[Entry]) -> Iterable[tuple[tuple[str, int, bytes], Entry]]:
    return (((one.origin, one.number, one.digest), one) for one in arrived)


def _rivals(connection: Connection, arrived: Sequence[Entry]) -> list[Entry]:
    """Other contents of the same names: which of them counts may have changed."""
    digests = {one.digest for one in arrived}
    found = journal.named(connection, [one.name for one in arrived])
    return [one for one in found if one.digest not in digests]


def _moved(connection: Connection, fork: Entry) -> list[Entry]:
    """Note which entries stand under another origin now; returns everything that names one of them, or is one."""
    pairs = journal.values_of(fork)["moved"]
    known = set(connection.execute(tables.moved.select()).scalars())
    rows = [{"old": bytes.fromhex(old), "new": bytes.fromhex(new)} for old, new in pairs.items()]
    rows = [row for row in rows if row["old"] not in known]
    if rows:
        connection.execute(tables.moved.insert(), rows)
    subjects = [f"{letter}{ref}" for pair in pairs.items() for ref in pair for letter in "evn"]
    columns, names = tables.touches.c, set()
    for start in range(0, len(subjects), 200):
        query = tables.touches.select().where(columns.subject.in_(subjects[start : start + 200]))
        names |= {(row.origin, row.number) for row in connection.execute(query)}
    return journal.named(connection, names)


def _fold(connection: Connection, subjects: set[str]) -> None:
    undone = {subject for subject in subjects if subject[0] == "e"}
    subjects = subjects | _of_undone(connection, undone)
    by_letter: dict[str, list[str]] = {}
    for subject in sorted(subjects):
        by_letter.setdefault(subject[0], []).append(subject)
    renamed = fleet.fold(connection, by_letter.get("v", ()))
    more = {f"n{ref}" for ref in renamed}
    naming = journal.of_subjects(connection, more) if more else []
    for one in naming:
        for subject in one.subjects:
            by_letter.setdefault(subject[0], []).append(subject)
    for letter, fold in _FOLDS:
        fold(connection, sorted(set(by_letter.get(letter, ()))))


def _of_undone(connection: Connection, undone: Iterable[str]) -> set[str]:
    """The subjects of entries that something is undone of."""
    found = journal.of_subjects(connection, undone)
    return {subject for one in found for subject in one.subjects}


_FOLDS: Sequence[tuple[str, Callable[[Connection, Sequence[str]], None]]] = (
    ("r", placing.fold_rounds),
    ("l", facts.fold_limits),
    ("p", probes.fold_described),
    ("b", facts.fold_benches),
    ("e", facts.fold_single),
)
