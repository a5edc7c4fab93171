"""The page of all vehicles."""

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from curbtick.dates import date
from curbtick.fleet.leaks import Body
from curbtick.fleet.places.newest import SEVERITY
from curbtick.fleet.places.state import VehicleState
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import Frame, asset
from curbtick.report.pages.severity import WORST_FIRST, probes_of, severity
from curbtick.report.views import reread, site_map


def fleet_page(frame: Frame, states: Sequence[VehicleState]) -> str:
    """All vehicles in service, worst first."""
    return frame.render(
        site_map.FLEET.file,
        probes_of(states),
        rows=[_fleet_row(state, frame.body(state.vehicle.id)) for state in sorted(states, key=severity)],
        in_service=sum(state.vehicle.retired_ms is None for state in states),
        notes=reread.retired_words(states),
        states=[(state, svg.WORDS[state]) for state in WORST_FIRST],
        script=Markup(asset("filter.js")),
    )


def _fleet_row(state: VehicleState, body: Body) -> dict[str, Any]:
    vehicle = state.vehicle
    find = " ".join(filter(None, (vehicle.name, vehicle.type, vehicle.depot))).lower()
    return {
        "id": vehicle.id,
        "name": vehicle.name,
        "retired": vehicle.retired_ms is not None,
        "type": vehicle.type or "",
        "depot": vehicle.depot or "",
        "find": find,
        "worst": state.worst,
        "badge": svg.badge(state.worst),
        "marks": body.marks,
        "counts": {stands: state.count(stands) for stands in SEVERITY},
        "last": "" if state.last_ms is None else date(state.last_ms),
    }
