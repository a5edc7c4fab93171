"""The page of one vehicle: bumpers, work, newest readings, the history of each position."""

from collections.abc import Sequence
from typing import Any

from curbtick_wire import names

from curbtick.dates import date
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.past import PlaceHistory
from curbtick.fleet.work.reread import Again
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import Frame, point
from curbtick.report.views import fading, places, reread
from curbtick.report.views.leaks import body_view
from curbtick.report.views.places import FindingView


def vehicle_page(
    frame: Frame,
    state: VehicleState,
    findings: Sequence[Finding],
    again: Sequence[Again],
    histories: Sequence[PlaceHistory],
    swaps: Sequence[str],
) -> str:
    """A vehicle: bumpers, work, newest readings, history of each position."""
    current = [
        frame.row(place.reading, (place.verdict, place.reasons))
        for place in state.places
        if place.reading is not None
    ]
    probes = {reading.probe_id for place in histories for reading in place.readings}
    return frame.render(
        "vehicle.html",
        probes,
        state=frame.view(state),
        body=body_view(frame.body(state.vehicle.id)),
        about=_about(state),
        current=current,
        again=[reread.view(one, frame.pages) for one in again],
        findings=[FindingView(finding) for finding in findings],
        swaps=swaps,
        fading=[
            f"{places.place_words(place.bumper, place.position).capitalize()}: {fading.trend_words(place.trend)}"
            for place in histories
            if place.trend is not None and place.trend.is_fading
        ],
        places=[_place(frame, place) for place in histories if len(place.readings) > 1],
    )


def _about(state: VehicleState) -> str:
    vehicle = state.vehicle
    fitted = [
        f"{names.BUMPERS[number]} {vehicle.bumper(number).positions} sensors of "
        f"{vehicle.bumper(number).class_khz or 'a custom class'}{' kHz' if vehicle.bumper(number).class_khz else ''}"
        for number in range(len(names.BUMPERS))
        if vehicle.bumper(number).positions
    ]
    retired = f"retired {date(vehicle.retired_ms)}" if vehicle.retired_ms else ""
    return "; ".join(filter(None, (vehicle.type, vehicle.depot, *fitted, retired)))


def _place(frame: Frame, place: PlaceHistory) -> dict[str, Any]:
    points = [point(frame, reading) for reading in place.readings]
    first_ms, last_ms = points[0].at_ms, points[-1].at_ms
    shown = [mark for mark in place.marks if mark.at_ms >= first_ms]
    events = [
        svg.Event(mark.at_ms, chr(ord("a") + index % 26), f"{date(mark.at_ms)} {mark.words}")
        for index, mark in enumerate(shown)
    ]
    title = places.place_words(place.bumper, place.position)
    summary = f"{title}: level of {len(points)} readings from {date(first_ms)} to {date(last_ms)}"
    ticks = sorted({first_ms: date(first_ms), last_ms: date(last_ms)}.items())
    return {
        "title": title,
        "drawing": svg.history(summary, points, events, ticks),
        "events": events,
        "trend": fading.trend_words(place.trend),
    }
