"""What the local page lets the bench do: work done, swaps, assigning and taking it back."""

from collections.abc import Callable
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection

from curbtick.dates import now_ms, when
from curbtick.errors import InputError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.work import assign, findings, swap
from curbtick.numbers import whole
from curbtick.report import Site
from curbtick.report.drawings import svg
from curbtick.report.views.places import FindingView, reading_place
from curbtick.store.history import Store
from curbtick.web.forms import Form, one


def bench_values(connection: Connection, site: Site) -> dict[str, Any]:
    """What the bench page shows: open findings, vehicles, readings that belong nowhere, assignments and
    swaps.
    """
    return {
        "findings": [FindingView(f) for f in site.findings if f.state != findings.PROVED],
        "vehicles": [s.vehicle for s in site.states],
        "bumpers": list(enumerate(names.BUMPERS)),
        "loose": [_loose(reading) for reading in assign.unassigned(connection)],
        "assignments": [
            {"id": a.id, "words": f"{a.readings} readings, {when(a.at_ms)}{', ' + a.by if a.by else ''}"}
            for a in assign.standing(connection)
        ],
        "swaps": [
            words
            for s in site.states
            for words in swap.in_words(connection, s.vehicle.id, lambda: site.repeatability)
        ],
    }


def _loose(reading: readings.Reading) -> dict[str, Any]:
    return {
        "ref": reading.ref,
        "when": when(reading.time_ms),
        "place": reading_place(reading),
        "badge": svg.badge(reading.verdict),
    }


def do(store: Store, name: str, form: Form) -> str:
    """Do an action in one transaction; return what to say. Raises InputError, StoreError."""
    with store.write() as connection:
        words = ACTIONS[name](connection, form)
        findings.refresh(connection)
    return words


def _number(form: Form, name: str) -> int:
    number = whole(one(form, name))
    if number is None:
        raise InputError(
            f"{name} is missing or no number.", "Nothing was changed.", "Fill it in and send again."
        )
    return number


def _work(connection: Connection, form: Form) -> str:
    finding = _number(form, "finding")
    findings.note(
        connection,
        finding,
        one(form, "step"),
        now_ms(),
        one(form, "by") or None,
        one(form, "note") or None,
    )
    return f"Noted on finding {finding}."


def _bumper(form: Form) -> int:
    number = _number(form, "bumper")
    if number >= len(names.BUMPERS):
        raise InputError("There is no such bumper.", "Nothing was changed.", "Choose rear or front.")
    return number


def _swap(connection: Connection, form: Form) -> str:
    vehicle = vehicles.find(connection, f"#{_number(form, 'vehicle')}")
    a, b = _number(form, "position_a"), _number(form, "position_b")
    swap.record(connection, vehicle, _bumper(form), a, b, now_ms(), one(form, "by") or None)
    return f"Noted: positions {a} and {b} of {vehicle.name} changed places. Read both again and pull."


def _assign(connection: Connection, form: Form) -> str:
    vehicle = vehicles.find(connection, f"#{_number(form, 'vehicle')}")
    chosen = assign.parse_range(connection, form.get("reading", []))
    number = _bumper(form) if one(form, "bumper") else None
    first = _number(form, "position") if one(form, "position") else None
    assign.to_vehicle(
        connection,
        chosen,
        vehicle,
        now_ms(),
        bumper=number,
        first_position=first,
        by=one(form, "by") or None,
    )
    return f"{len(chosen)} readings belong to {vehicle.name} now."


def _undo(connection: Connection, form: Form) -> str:
    count = assign.undo(connection, _number(form, "assignment"), now_ms())
    return f"{count} readings are where they were."


ACTIONS: dict[str, Callable[[Connection, Form], str]] = {
    "work": _work,
    "swap": _swap,
    "assign": _assign,
    "undo": _undo,
}
