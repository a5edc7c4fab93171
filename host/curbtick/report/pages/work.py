"""The work list: a sheet for each vehicle on which something is to do."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.work.findings import DONE, OPEN, Finding
from curbtick.fleet.work.reread import Again
from curbtick.report.pages.frame import Frame
from curbtick.report.pages.severity import probes_of
from curbtick.report.views import reread, site_map
from curbtick.report.views.places import FindingView


def work_page(
    frame: Frame,
    findings: Sequence[Finding],
    again: Sequence[Again],
    body: Mapping[int, Sequence[str]],
    loose: str,
    abouts: Mapping[int, str],
    states: Sequence[VehicleState],
    swaps: Mapping[int, Sequence[str]],
) -> str:
    """The page. again: places to be read again; body: what the seal and hiss checks found, by vehicle key; loose: words
    on readings without a vehicle; states: of the vehicles concerned; abouts, swaps: words by key.
    """
    counts = Counter(finding.state for finding in findings)
    return frame.render(
        site_map.WORK.file,
        probes_of(states),
        sheets=_sheets(frame, findings, again, body, abouts, states, swaps),
        loose=loose,
        again_count=len(again),
        body_count=sum(map(len, body.values())),
        open_count=counts[OPEN],
        done_count=counts[DONE],
    )


def _sheets(
    frame: Frame,
    findings: Sequence[Finding],
    again: Sequence[Again],
    body: Mapping[int, Sequence[str]],
    abouts: Mapping[int, str],
    states: Sequence[VehicleState],
    swaps: Mapping[int, Sequence[str]],
) -> list[dict[str, Any]]:
    """The sheets, by the vehicles' names."""
    by_key = {state.vehicle.id: state for state in states}
    named = {(f.vehicle, f.vehicle_id) for f in findings} | {(a.vehicle.name, a.vehicle.id) for a in again}
    named |= {(frame.vehicle_names[key], key) for key in body}
    return [
        {
            "id": key,
            "name": name,
            "about": abouts.get(key, ""),
            "swaps": swaps.get(key, ()),
            "state": frame.view(by_key[key]) if key in by_key else None,
            "findings": [FindingView(finding) for finding in findings if finding.vehicle_id == key],
            "again": [reread.view(one, frame.pages) for one in again if one.vehicle.id == key],
            "body": body.get(key, ()),
        }
        for name, key in sorted(named)
    ]
