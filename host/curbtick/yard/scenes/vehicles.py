"""The demo depot's vehicles: what each bumper carries and what is wrong with it, read from demo_data."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from curbtick_wire.classes import CLASSES_KHZ, class_list
from curbtick_wire.names import BUMPER_POSITIONS_MAX, BUMPERS

from curbtick.errors import InputError
from curbtick.yard.ear import faults
from curbtick.yard.ear.faults import HEALTHY, Fault

FAULTS: Mapping[str, Callable[..., Fault]] = {
    "dead": lambda: faults.DEAD,
    "weak": faults.weak,
    "off_frequency": faults.off_frequency,
    "long_ringing": faults.long_ringing,
    "short_ringing": faults.short_ringing,
    "intermittent": faults.loose_contact,
    "painted": faults.painted,
    "iced": faults.iced,
}


@dataclass(frozen=True)
class BumperPlan:
    """One bumper: positions (1..6), class in kHz, faults by position (the rest are healthy)."""

    positions: int
    class_khz: int
    faults: Mapping[int, Fault]

    def fault_at(self, position: int) -> Fault:
        """Return the fault of the sensor at a position, 1 being the leftmost."""
        return self.faults.get(position, HEALTHY)


@dataclass(frozen=True)
class VehiclePlan:
    """One vehicle: number in the round, name, type, cycle time in ms, whether its system transmits, its bumpers.

    din: what is to be heard around it, names that din.named_din knows.
    """

    number: int
    name: str
    type: str
    interval_ms: float
    transmits: bool
    din: tuple[str, ...]
    bumpers: Mapping[str, BumperPlan]


def _wrong(path: Path, what: str) -> InputError:
    return InputError(
        f"{path.name}: {what}.", "The demo was not started.", "Correct the file, or install curbtick again."
    )


def read_json(path: Path) -> dict[str, Any]:
    """Read a demo file. Raises InputError when it is missing or not a JSON object."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _wrong(path, f"it cannot be read ({error})") from error
    if not isinstance(data, dict):
        raise _wrong(path, "it is not a JSON object")
    return data


def _fault(path: Path, entry: Mapping[str, Any]) -> Fault:
    fields = dict(entry)
    kind = fields.pop("kind", None)
    if kind not in FAULTS:
        raise _wrong(path, f"there is no fault called {kind}; there are {', '.join(FAULTS)}")
    try:
        return FAULTS[kind](**fields)
    except TypeError as error:
        raise _wrong(path, f"the fault {kind} does not take {', '.join(fields)}") from error


def _bumper(path: Path, entry: Mapping[str, Any]) -> BumperPlan:
    positions, class_khz = entry.get("positions"), entry.get("class_khz")
    if not isinstance(positions, int) or not 1 <= positions <= BUMPER_POSITIONS_MAX:
        raise _wrong(path, f"a bumper has 1 to {BUMPER_POSITIONS_MAX} positions, not {positions}")
    if class_khz not in CLASSES_KHZ:
        raise _wrong(path, f"there is no class {class_khz}; there are {class_list()}")
    found = {int(position): _fault(path, fault) for position, fault in entry.get("faults", {}).items()}
    outside = [position for position in found if not 1 <= position <= positions]
    if outside:
        raise _wrong(path, f"position {outside[0]} is not on a bumper of {positions}")
    return BumperPlan(positions, class_khz, found)


def _vehicle(path: Path, number: int, entry: Mapping[str, Any]) -> VehiclePlan:
    try:
        return VehiclePlan(
            number=number,
            name=entry["name"],
            type=entry["type"],
            interval_ms=float(entry["interval_ms"]),
            transmits=entry.get("transmits", True),
            din=tuple(entry.get("din", ())),
            bumpers={name: _bumper(path, entry[name]) for name in BUMPERS if name in entry},
        )
    except KeyError as error:
        raise _wrong(path, f"vehicle {number} has no {error.args[0]}") from error


def read_vehicles(path: Path) -> tuple[VehiclePlan, ...]:
    """Read a depot file's vehicles, numbered from 1 in the file's order. Raises InputError."""
    entries = read_json(path).get("vehicles")
    if not isinstance(entries, list) or not entries:
        raise _wrong(path, "it has no vehicles")
    return tuple(_vehicle(path, number, entry) for number, entry in enumerate(entries, start=1))
