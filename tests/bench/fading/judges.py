"""The judges: Curbtick's, and two that a bound must refuse."""

import time
from collections.abc import Callable
from importlib import import_module

import numpy as np

from tests.bench.fading.calendar import Flags
from tests.bench.fading.reference import slopes_db_per_week
from tests.bench.fading.worlds import SENSORS, Readings

# Which sensors a judge lists, by sensor, and the seconds that it took.
Judge = Callable[[Readings], tuple[Flags, float]]


def ours(readings: Readings) -> tuple[Flags, float]:
    """Curbtick's judge, timed without what it takes to hand it the readings."""
    fading = import_module("curbtick.fleet.places.fading")
    rows = zip(readings.at_ms.tolist(), readings.level_db.tolist(), readings.probe_id.tolist(), strict=True)
    visits = [fading.Visit(at_ms, level_db, probe_id) for at_ms, level_db, probe_id in rows]
    ends = np.cumsum(np.bincount(readings.sensor, minlength=SENSORS)).tolist()
    starts = [0, *ends[:-1]]
    spans = enumerate(zip(starts, ends, strict=True))
    visits_of = {f"sensor {n}": visits[start:end] for n, (start, end) in spans if end > start}
    begun_s = time.perf_counter()
    keys = fading.judge(visits_of)
    seconds = time.perf_counter() - begun_s
    strange = set(keys) - set(visits_of)
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
