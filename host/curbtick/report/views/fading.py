"""What fades: a trend in words, and the rows of the page of every fading position."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from curbtick.dates import date
from curbtick.fleet.fading.trend import Trend
from curbtick.fleet.work.past import PlaceHistory
from curbtick.report.views import places, site_map


class Fading(NamedTuple):
    """A position that fades, and its trend."""

    place: PlaceHistory
    trend: Trend


def trend_words(trend: Trend | None) -> str:
    """A trend as a sentence; a date only where the data carry it."""
    if trend is None:
        return "Too few dated visits for a trend."
    rate = (
        f"{trend.rate_db_per_month:+.2f} dB per month (95 % between {trend.low_db_per_month:+.2f} and "
        f"{trend.high_db_per_month:+.2f}, {seen_words(trend)})"
    )
    if not trend.is_fading:
        return f"Trend {rate}; no date for WEAK: {trend.why_not}."
    return f"Fading {rate}; {expected_words(trend)}."


def seen_words(trend: Trend) -> str:
    """What a trend rests on."""
    return f"{trend.visits} visits over {trend.span_days:.0f} days"


def expected_words(trend: Trend) -> str:
    """When a fading position is expected to cross into WEAK, or why no date is given."""
    if trend.crossing_ms is None:
        return f"no date for WEAK: {trend.why_not}"
    latest = "later, if ever" if trend.latest_ms is None else date(trend.latest_ms)
    return f"expected to cross into WEAK on {date(trend.crossing_ms)} (between {date(trend.earliest_ms)} and {latest})"


def rows(fading: Sequence[Fading], vehicle_names: Mapping[int, str]) -> list[dict[str, str]]:
    """Fading positions as rows, the one expected to turn WEAK first on top."""
    ordered = sorted(
        fading, key=lambda found: (found.trend.crossing_ms is None, found.trend.crossing_ms or 0)
    )
    return [_row(place, trend, vehicle_names[place.vehicle_id]) for place, trend in ordered]


def _row(place: PlaceHistory, trend: Trend, vehicle: str) -> dict[str, str]:
    return {
        "vehicle": vehicle,
        "href": site_map.vehicle(place.vehicle_id),
        "where": places.place_words(place.bumper, place.position),
        "level": f"{trend.level_now_db:.1f}",
        "rate": f"{trend.rate_db_per_month:+.2f} ({trend.low_db_per_month:+.2f} to {trend.high_db_per_month:+.2f})",
        "seen": seen_words(trend),
        "expected": expected_words(trend).removeprefix("expected to cross into WEAK on "),
    }
