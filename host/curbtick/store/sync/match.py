"""Which vehicle of a bench's file is which of the central history, whatever either end has come to call it.

A name may pass from one vehicle to another, by renaming or when the old one is retired. So a vehicle is known again
by a name that it bore at both ends at one moment, and two vehicles of a file are never one.
"""

import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, select

from curbtick.store import tables


class Borne(NamedTuple):
    """A name in small letters, borne from one moment up to another."""

    name: str
    from_ms: int
    until_ms: int


class Known(NamedTuple):
    """A vehicle; names: those it bore, in order, the one it bears now the last."""

    id: int
    depot: str | None
    created_ms: int
    is_retired: bool
    names: tuple[Borne, ...]

    @property
    def name(self) -> str:
        """The name it bears now."""
        return self.names[-1].name


def load(connection: Connection) -> list[Known]:
    """Every vehicle, those in service first, in the order they were entered."""
    former: dict[int, list[tuple[str, int]]] = {}
    columns = tables.vehicle_names.c
    for row in connection.execute(select(tables.vehicle_names).order_by(columns.until_ms, columns.id)):
        former.setdefault(row.vehicle_id, []).append((row.name.lower(), row.until_ms))
    columns = tables.vehicles.c
    rows = connection.execute(
        select(tables.vehicles).order_by(columns.retired_ms.is_not(None), columns.id)
    ).all()
    return [
        Known(
            row.id,
            row.depot,
            row.created_ms,
            row.retired_ms is not None,
            _borne(row.created_ms, former.get(row.id, []), row.name.lower(), row.retired_ms),
        )
        for row in rows
    ]


def _borne(
    created_ms: int, former: Iterable[tuple[str, int]], name: str, retired_ms: int | None
) -> tuple[Borne, ...]:
    made, from_ms = [], created_ms
    for old, until_ms in former:
        made.append(Borne(old, from_ms, until_ms))
        from_ms = until_ms
    end_ms = sys.maxsize if retired_ms is None else retired_ms
    return (*made, Borne(name, from_ms, max(end_ms, from_ms)))


def match(own: Sequence[Known], central: Sequence[Known]) -> dict[int, int]:
    """Key in the central history by key in the file, of the vehicles that both have."""
    matches: dict[int, int] = {}
    taken: set[int] = set()
    for pairs in (_entered_once, _borne_at_once, _borne_ever):
        for mine, theirs in pairs(
            [vehicle for vehicle in own if vehicle.id not in matches],
            [vehicle for vehicle in central if vehicle.id not in taken],
        ):
            if mine.id not in matches and theirs.id not in taken:
                matches[mine.id] = theirs.id
                taken.add(theirs.id)
    return matches


_Pairs = Iterator[tuple[Known, Known]]


def _entered_once(own: Sequence[Known], central: Sequence[Known]) -> _Pairs:
    """Vehicles that one end has from the other: entered at the same moment; under the same name now, first."""
    there: dict[tuple[str | None, int], list[Known]] = {}
    for vehicle in central:
        there.setdefault((vehicle.depot, vehicle.created_ms), []).append(vehicle)
    alike = [(mine, theirs) for mine in own for theirs in there.get((mine.depot, mine.created_ms), ())]
    yield from ((mine, theirs) for mine, theirs in alike if mine.name == theirs.name)
    yield from ((mine, theirs) for mine, theirs in alike if _words(mine) & _words(theirs))


def _words(vehicle: Known) -> set[str]:
    return {borne.name for borne in vehicle.names}


def _borne_at_once(own: Sequence[Known], central: Sequence[Known]) -> _Pairs:
    """Vehicles that bore a name at both ends at one moment, the earliest first; last, a file's vehicle in service
    and one that is retired in the central history.
    """
    pairs = [
        (theirs.is_retired and not mine.is_retired, max(one.from_ms, other.from_ms), mine, theirs)
        for mine, one, theirs, other in _namesakes(own, central)
        if max(one.from_ms, other.from_ms) < min(one.until_ms, other.until_ms)
    ]
    yield from ((mine, theirs) for _, _, mine, theirs in sorted(pairs, key=lambda pair: pair[:2]))


def _borne_ever(own: Sequence[Known], central: Sequence[Known]) -> _Pairs:
    """Vehicles in service that bore a name at different times: a former name still finds its vehicle."""
    for mine, _, theirs, _ in _namesakes(own, central):
        if not (mine.is_retired or theirs.is_retired):
            yield mine, theirs


def _namesakes(own: Sequence[Known], central: Sequence[Known]) -> Iterator[tuple[Known, Borne, Known, Borne]]:
    """Every two vehicles of a depot that ever bore the same name, and when either did."""
    bearers: dict[tuple[str | None, str], list[tuple[Known, Borne]]] = {}
    for theirs in central:
        for borne in theirs.names:
            bearers.setdefault((theirs.depot, borne.name), []).append((theirs, borne))
    for mine in own:
        for borne in mine.names:
            yield from ((mine, borne, *other) for other in bearers.get((mine.depot, borne.name), ()))
