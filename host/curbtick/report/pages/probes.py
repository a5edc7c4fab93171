"""The page of every probe: its pulls, its starts, its health."""

from collections.abc import Mapping
from typing import Any

from curbtick.dates import date, when
from curbtick.fleet.probes.health import Health
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import Frame, point
from curbtick.report.views import site_map


def probes_page(frame: Frame, undated: Mapping[int, int]) -> str:
    """The page. undated: readings without a date, by the key of their probe."""
    shown = [_probe(frame, probe, undated.get(probe.probe_id, 0)) for probe in frame.health]
    return frame.render(site_map.PROBES.file, (), probes=shown)


def _probe(frame: Frame, probe: Health, undated: int) -> dict[str, Any]:
    stored = ", ".join(f"{first} to {last}" for first, last in probe.stored) or "none"
    facts = [
        ("Last pulled", when(probe.last_pull_ms)),
        ("Records stored", stored),
        ("Starts that never met a bench", _starts_words(probe.unanchored_boots, undated)),
        ("Battery at the last reading", f"{probe.battery_mv} mV" if probe.battery_mv else "not known"),
        ("Last self-test", _self_test_words(probe)),
        ("Times it stopped of itself", "; ".join(probe.crashes) or "none stored"),
        ("Reference readings", len(probe.references)),
        ("Drift against its own history", _drift_words(probe)),
    ]
    return {
        "name": probe.name,
        "unique_id": probe.unique_id,
        "life": probe.life,
        "depot": probe.depot,
        "flags": probe.flags,
        "facts": facts,
        "drawing": _drawing(frame, probe),
    }


def _drawing(frame: Frame, probe: Health) -> str | None:
    """The level of its reference readings over time, where there are two."""
    if len(probe.references) < 2:
        return None
    points = [point(frame, reading) for reading in probe.references]
    ticks = [(points[0].at_ms, date(points[0].at_ms)), (points[-1].at_ms, date(points[-1].at_ms))]
    return svg.history(f"Reference level of probe {probe.name}", points, (), ticks)


def _starts_words(starts: int, undated: int) -> str:
    """How many starts have no clock, and what that leaves without a date."""
    if not starts:
        return "none"
    if not undated:
        return f"{starts}; no reading was taken in {'it' if starts == 1 else 'them'}"
    return f"{starts}; {undated} {'reading has' if undated == 1 else 'readings have'} an order but no date"


def _self_test_words(probe: Health) -> str:
    if probe.self_test_ms is None:
        return "none stored"
    return f"{'failed' if probe.self_test_failed else 'passed'}, {when(probe.self_test_ms)}"


def _drift_words(probe: Health) -> str:
    if probe.drift_db is None:
        return "too few reference readings to tell"
    return f"{probe.drift_db:+.2f} dB (scatter {probe.scatter_db:.2f} dB)"
