"""The order of vehicles: what needs work most stands first."""

from collections.abc import Iterable

from curbtick.fleet.places.newest import SEVERITY
from curbtick.fleet.places.state import VehicleState

WORST_FIRST = ("not_transmitting", *SEVERITY)


def severity(state: VehicleState) -> tuple[int, int, int, str]:
    """A key to sort by: the worst state, then how many sensors are dead and weak, then the name."""
    return (
        WORST_FIRST.index(state.worst),
        -state.count("dead"),
        -state.count("weak"),
        state.vehicle.name.lower(),
    )


def probes_of(states: Iterable[VehicleState]) -> set[int]:
    """The probes whose readings say how these vehicles stand."""
    return {p.reading.probe_id for state in states for p in state.places if p.reading is not None}
