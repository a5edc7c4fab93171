"""The levels of many positions over time, as one table: a row a position, its visits from left to right."""

from collections.abc import Hashable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from curbtick.dates import DAY_MS

Numbers = NDArray[np.float64]
Mask = NDArray[np.bool_]

WEEK_DAYS = 7


class Visit(NamedTuple):
    """A position's level on one day: when, dBFS, and the key of the probe that read it."""

    at_ms: int
    level_db: float
    probe_id: int


class Series(NamedTuple):
    """Visits of many positions; all arrays are (positions, visits of the longest), NaN or -1 behind a row's end.

    keys: whose rows they are. days: since 1970. levels_db: dBFS. probes: key of the probe. counts: visits of each row.
    """

    keys: Sequence[Hashable]
    days: Numbers
    levels_db: Numbers
    probes: NDArray[np.int64]
    counts: Numbers

    @property
    def there(self) -> Mask:
        """Where a row has a visit."""
        found: Mask = self.probes >= 0
        return found


def of_visits(visits_of: Mapping[Any, Sequence[Visit]]) -> Series:
    """Positions' visits, each in the order of time, as a table."""
    shape = (len(visits_of), max(map(len, visits_of.values()), default=0))
    days, levels_db, probes = np.full(shape, np.nan), np.full(shape, np.nan), np.full(shape, -1, np.int64)
    for row, visits in enumerate(visits_of.values()):
        for column, visit in enumerate(visits):
            days[row, column] = visit.at_ms / DAY_MS
            levels_db[row, column] = visit.level_db
            probes[row, column] = visit.probe_id
    counts = np.array([len(visits) for visits in visits_of.values()], np.float64)
    return Series(list(visits_of), days, levels_db, probes, counts)
