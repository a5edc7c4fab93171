"""Forks: a file that was copied, or restored from a backup, and continued on both sides has two contents under a name.

The branch of whoever is syncing is entered again under a new origin from where the two part, and an entry says which
stands as which; both contents of the old names stay, and nothing is lost.
"""

from sqlalchemy import Connection, text

from curbtick.dates import now_ms
from curbtick.store import tables
from curbtick.store.database import writers
from curbtick.store.history import Store, arrive, write
from curbtick.store.journal import entries as journal
from curbtick.store.journal.entries import Entry, canonical
from curbtick.store.sync import held


def settle(own: Store, other: Store) -> int:
    """Give the file's own branch a new origin where the other history has another one; returns how many entries."""
    if not own.url.startswith("sqlite"):
        return 0
    with own.held() as mine:
        origin = mine.scalar(text("SELECT value FROM meta WHERE key = 'origin'"))
        if origin is None:
            return 0
        with other.held() as theirs:
            branch = _branch(mine, theirs, str(origin))
    if not branch:
        return 0
    with own.write() as connection:
        _enter_again(connection, branch)
    return len(branch)


def _branch(mine: Connection, theirs: Connection, origin: str) -> set[tuple[int, bytes]]:
    """Own contents from where the two histories part; empty where one only goes on from the other."""
    group = {"origin": origin}
    ours, other = (held.intervals(one, tables.entries, group) for one in (mine, theirs))
    places = [place for place, digest in sorted(ours.items()) if other.get(place) not in (None, digest)]
    for place in places:
        own, others = (held.contents(one, tables.entries, group, place) for one in (mine, theirs))
        known = {number for number, _ in others}
        parting = [number for number, _ in own - others if number in known]
        if parting:
            later = [one for later in ours if later > place for one in _contents(mine, theirs, group, later)]
            return {content for content in own - others if content[0] >= min(parting)} | set(later)
    return set()


def _contents(mine: Connection, theirs: Connection, group: held.Name, place: int) -> set[tuple[int, bytes]]:
    """Own contents of an interval that the other history lacks."""
    own, others = (held.contents(one, tables.entries, group, place) for one in (mine, theirs))
    return own - others


def _enter_again(connection: Connection, branch: set[tuple[int, bytes]]) -> None:
    old_origin = write.origin_of(connection)
    rows = held.rows(connection, tables.entries, {"origin": old_origin}, branch)
    old = [one for one in map(journal.from_row, rows) if one in journal.counting(connection, [one])]
    if not old:
        return
    origin = writers.renew(connection, write.new_origin)
    again = [_again(one, origin, number, old[0]) for number, one in enumerate(old, 1)]
    pairs = {before.ref: after.ref for before, after in zip(old, again, strict=True)}
    seen = canonical({name: number for name, number in write.heads(connection).items() if name != origin})
    fork = write.made(origin, len(again) + 1, now_ms(), None, "forked", seen, canonical({"moved": pairs}))
    arrive.entries(connection, [*again, fork])


def _again(one: Entry, origin: str, number: int, first: Entry) -> Entry:
    seen = {name: known for name, known in one.vector.items() if name != one.origin}
    if first.number > 1:
        seen[first.origin] = first.number - 1
    return write.made(origin, number, one.at_ms, one.who, one.kind, canonical(seen), one.payload)
