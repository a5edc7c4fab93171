"""The page of one day: what was read, and what is to be done next."""

from collections import Counter
from collections.abc import Sequence

from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.reread import Standing
from curbtick.report.pages.frame import Frame
from curbtick.report.pages.severity import severity
from curbtick.report.views import site_map
from curbtick.report.views.leaks import BodyLine, LeakViews
from curbtick.report.views.places import FindingView
from curbtick.report.views.reread import DayWork
from curbtick.verdicts import BEST_FIRST


def day_page(
    frame: Frame,
    readings: Sequence[Reading],
    standing: Standing,
    states: Sequence[VehicleState],
    findings: Sequence[Finding],
    work: DayWork,
    body: Sequence[BodyLine],
    leaks: LeakViews,
    notes: Sequence[str],
    day_words: str,
) -> str:
    """The day. standing: verdicts by reading key where a bumper result changed them."""
    verdicts = (standing.get(r.id, (r.verdict, ()))[0] for r in readings if not r.superseded)
    worst_first = sorted(states, key=severity)
    return frame.render(
        site_map.DAY.file,
        {r.probe_id for r in readings},
        readings=[frame.row(r, standing.get(r.id)) for r in readings],
        counts=Counter(verdicts),
        verdicts=BEST_FIRST,
        vehicles=[frame.view(state) for state in worst_first],
        silent=sum(len(state.silent_bumpers) for state in states),
        findings=[FindingView(finding) for finding in findings],
        work=work,
        body=body,
        leaks=leaks,
        notes=notes,
        day_words=day_words,
    )
