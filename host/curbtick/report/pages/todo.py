"""The first page: what is to be done on the fleet, worst first, and how it stands besides."""

from collections import Counter
from collections.abc import Mapping, Sequence

from curbtick.fleet.leaks import Body
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.work.findings import DONE, OPEN, PROVED, Finding
from curbtick.fleet.work.reread import Again, Standing
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import Frame
from curbtick.report.pages.severity import probes_of
from curbtick.report.views import site_map, todo
from curbtick.report.views.places import FindingView


def todo_page(
    frame: Frame,
    states: Sequence[VehicleState],
    findings: Sequence[Finding],
    again: Sequence[Again],
    bodies: Mapping[int, Body],
    loose: str,
    of_day: Sequence[Reading],
    standing: Standing,
) -> str:
    """The page.

    states: of the vehicles in service; bodies: what the seal and hiss checks found, by vehicle key; loose: words on
    readings without a vehicle; of_day: readings of the newest day; standing: verdicts that bumper results changed.
    """
    by_state = {state: [f for f in findings if f.state == state] for state in (OPEN, DONE, PROVED)}
    tasks = todo.tasks(by_state[OPEN], again, bodies, frame.vehicle_names)
    verdicts = Counter(standing.get(r.id, (r.verdict, ()))[0] for r in of_day if not r.superseded)
    return frame.render(
        site_map.START.file,
        probes_of(states),
        tasks=tasks,
        counts=Counter(todo.RANKS[task.rank] for task in tasks),
        ranks=todo.RANKS,
        done=[FindingView(finding) for finding in by_state[DONE]],
        proved=[FindingView(finding) for finding in by_state[PROVED]],
        passing=[frame.view(state) for state in states if state.worst == "pass"],
        unread=[frame.view(state) for state in states if state.count("unread")],
        vehicle_count=len(states),
        loose=loose,
        day_counts=[(svg.badge(verdict), verdicts[verdict]) for verdict in svg.LETTERS if verdicts[verdict]],
        day_page=site_map.DAY.file,
        sheets_page=site_map.WORK.file,
    )
