"""The order in which entries count: after what their writers knew, then by time, origin and number.

A bench's clock may be wrong by days; what an entry was written in the knowledge of comes before it all the same.
"""

import heapq
from collections.abc import Iterable

from curbtick.store.journal.entries import Entry


def ordered(entries: Iterable[Entry]) -> list[Entry]:
    """Entries of different names in the order in which they count; the same for whatever order they come in."""
    waiting = sorted(entries, key=lambda entry: entry.name)
    before = {one.name: [other for other in waiting if _is_before(other, one)] for one in waiting}
    after: dict[tuple[str, int], list[Entry]] = {}
    missing = {name: len(known) for name, known in before.items()}
    for one in waiting:
        for known in before[one.name]:
            after.setdefault(known.name, []).append(one)
    free = [(one.at_ms, one.name, one) for one in waiting if not missing[one.name]]
    heapq.heapify(free)
    made: list[Entry] = []
    while free:
        one = heapq.heappop(free)[2]
        made.append(one)
        for later in after.get(one.name, ()):
            missing[later.name] -= 1
            if not missing[later.name]:
                heapq.heappush(free, (later.at_ms, later.name, later))
    # Entries that say that each knew the other, which no writer can, come last.
    known_names = {one.name for one in made}
    return made + [one for one in waiting if one.name not in known_names]


def _is_before(one: Entry, other: Entry) -> bool:
    """Whether the writer of another entry knew this one."""
    return one is not other and one.number <= other.vector.get(one.origin, 0)
