"""What the day's page says of the day itself."""

from collections.abc import Sequence

from curbtick.dates import date, when
from curbtick.fleet.readings import Reading
from curbtick.fleet.work.reread import Standing, loose_words
from curbtick.report.views.reread import loose_counts


def day_notes(of_day: Sequence[Reading], standing: Standing) -> list[str]:
    """What a reader of the day must know: readings without a vehicle, without a date."""
    loose = loose_words(loose_counts(of_day, standing))
    notes = [loose] if loose else []
    undated = sum(reading.time_ms is None for reading in of_day)
    if undated:
        come = "reading comes" if undated == 1 else "readings come"
        notes.append(
            f"{undated} {come} from a start of the probe that never met a bench: the order is known, the date is not. "
            "They stand here because they were taken no later than this day."
        )
    return notes


def day_words(of_day: Sequence[Reading], before_ms: int | None) -> str:
    """When and with which probes the day's readings were taken. before_ms: the newest day before it that has readings,
    None for none.
    """
    if not of_day:
        last = "" if before_ms is None else f" The last ones before it are of {date(before_ms)}."
        return f"No reading was taken on this day.{last}"
    dated = [r.time_ms for r in of_day if r.time_ms is not None]
    probes = ", ".join(sorted({r.probe for r in of_day}))
    span = f", {when(min(dated))[11:]} to {when(max(dated))[11:]}" if dated else ""
    return f"Read with probe {probes}{span}."
