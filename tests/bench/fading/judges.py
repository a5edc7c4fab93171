"""The judges: Curbtick's, and two that a bound must refuse."""

import time
from collections.abc import Callable

import numpy as np
from curbtick.fleet.fading import judge, visits

from tests.bench.fading.calendar import Flags
from tests.bench.fading.reference import slopes_db_per_week
from tests.bench.fading.worlds import SENSORS, Readings

# Which sensors a judge lists, by sensor, and the seconds that it took.
Judge = Callable[[Readings], tuple[Flags, float]]


def ours(readings: Readings) -> tuple[Flags, float]:
    """Curbtick's judge, timed without what it takes to hand it the readings."""
    level_cdb = (100 * readings.level_db).round().tolist()
    rows = list(zip(readings.at_ms.tolist(), level_cdb, readings.probe_id.tolist(), strict=True))
    ends = np.cumsum(np.bincount(readings.sensor, minlength=SENSORS)).tolist()
    starts = [0, *ends[:-1]]
    spans = enumerate(zip(starts, ends, strict=True))
    rows_of = {f"sensor {n}": rows[start:end] for n, (start, end) in spans if end > start}
    begun_s = time.perf_counter()
    keys = judge.of_fleet({key: visits.by_day(of_key) for key, of_key in rows_of.items()}).listed
    seconds = time.perf_counter() - begun_s
    strange = set(keys) - set(rows_of)
    if strange:
        raise ValueError(f"the judge lists what it was not given: {sorted(strange)[:3]}")
    return np.array([f"sensor {n}" in keys for n in range(SENSORS)]), seconds


def every_falling(readings: Readings) -> tuple[Flags, float]:
    """Lists whatever falls, by any amount: it finds all that fades, and must break every other bound."""
    return slopes_db_per_week(readings) < 0, 0.0


def nobody(_readings: Readings) -> tuple[Flags, float]:
    """Lists nothing: it keeps the bounds of steady fleets, and must break that of finding."""
    return np.zeros(SENSORS, bool), 0.0


JUDGES: dict[str, Judge] = {"ours": ours, "every-falling": every_falling, "nobody": nobody}
