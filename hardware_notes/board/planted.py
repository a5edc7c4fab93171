"""Mistakes planted in the table of nets, each with the rule that must see it."""

from collections.abc import Callable

from curbtick.hardware.nets import FREE, INSTANCES, Instance

Parts = tuple[Instance, ...]


def rewired(ref: str, number: str, net: str, parts: Parts = INSTANCES) -> Parts:
    """The table with one pin on another net. Raises KeyError when there is no such pin."""
    part = next(p for p in parts if p.ref == ref)
    if number not in dict(part.nets):
        raise KeyError(f"{ref} has no pin {number}")
    moved = tuple((n, net if n == number else there) for n, there in part.nets)
    return tuple(_with(p, moved) if p is part else p for p in parts)


def _with(part: Instance, wired: tuple[tuple[str, str], ...]) -> Instance:
    return Instance(part.ref, part.kind, part.value, wired, part.sheet)


def without(ref: str) -> Parts:
    """The table without a part."""
    return tuple(part for part in INSTANCES if part.ref != ref)


def swapped(ref: str, first: str, second: str) -> Parts:
    """The table with two pins of a part the other way round."""
    part = next(p for p in INSTANCES if p.ref == ref)
    return rewired(ref, second, part.net(first), rewired(ref, first, part.net(second)))


def merged(keeps: str, loses: str) -> Parts:
    """The table with one net swallowed by another."""
    return tuple(_with(p, tuple((n, keeps if net == loses else net) for n, net in p.nets)) for p in INSTANCES)


def added(part: Instance) -> Parts:
    """The table with a part more."""
    return (*INSTANCES, part)


def _unpinned(ref: str, number: str) -> Parts:
    part = next(p for p in INSTANCES if p.ref == ref)
    left = tuple((n, net) for n, net in part.nets if n != number)
    return tuple(_with(p, left) if p is part else p for p in INSTANCES)


def _bridge(ref: str, kind: str, value: str, first: str, second: str) -> Callable[[], Parts]:
    return lambda: added(Instance(ref, kind, value, (("1", first), ("2", second)), "power"))


PLANTED: tuple[tuple[str, str, Callable[[], Parts]], ...] = (
    ("complete", "a pin forgotten", lambda: _unpinned("U3", "12")),
    ("complete", "a net that ends at one pin", lambda: rewired("Ra3", "2", "NOWHERE")),
    ("complete", "a part with both ends on one net", lambda: merged("CELL", "FUSED")),
    ("complete", "a part twice", lambda: added(INSTANCES[-1])),
    ("one_driver", "two outputs joined", lambda: merged("AOUT", "BOUT")),
    ("one_driver", "an LED's pad on another's", lambda: rewired("U1", "5", "BAR_1")),
    ("fed", "an amplifier without a supply", lambda: rewired("Rs1", "1", "AVDD2")),
    ("fed", "an amplifier's input left free", lambda: rewired("U2", "5", FREE)),
    ("bias_apart", "the bias made ground", lambda: merged("AGND", "BIAS")),
    ("bias_apart", "an amplifier drives the bias", lambda: rewired("U2", "14", "BIAS")),
    ("bias_apart", "a second way from bias to ground", _bridge("Rx1", "resistor", "Rv2", "BIAS", "AGND")),
    ("bias_apart", "the front end on the panel's ground", lambda: rewired("U2", "11", "GND")),
    ("bias_apart", "the grounds joined a second time", _bridge("Rx2", "resistor", "Rz", "AGND", "GND")),
    ("decoupled", "a package without its capacitor", lambda: without("Cs3")),
    ("decoupled", "the microphone without its filter", lambda: without("Cs4")),
    ("decoupled", "the bias without its capacitor", lambda: without("Cv1")),
    ("inputs_protected", "an ADC pin without a clamp", lambda: without("D2")),
    ("inputs_protected", "an ADC pin without its resistor", lambda: merged("GOUT", "LOW")),
    ("inputs_protected", "an ADC pin without its capacitor", lambda: without("Co3")),
    ("transistor", "the P-FET turned round", lambda: swapped("Q1", "2", "3")),
    ("transistor", "the gate on the cells", lambda: rewired("Q1", "1", "BATT")),
    ("transistor", "the gate without its resistor", lambda: without("Rq1")),
    ("cells", "the cells the wrong way round", lambda: swapped("BT1", "1", "2")),
    ("cells", "no fuse", lambda: merged("CELL", "FUSED")),
    ("cells", "no switch", lambda: merged("FUSED", "BATT")),
    ("cells", "a resistor past the P-FET", _bridge("Rx3", "resistor", "Rz", "BATT", "VSYS")),
    ("diodes", "the suppressor the wrong way round", lambda: swapped("D4", "1", "2")),
    ("diodes", "a clamp the wrong way round", lambda: swapped("D1", "1", "2")),
    ("diodes", "no suppressor at the microphone", lambda: without("D4")),
    ("panel", "an LED the wrong way round", lambda: swapped("LED5", "1", "2")),
    ("panel", "an LED without its resistor", lambda: without("Rl7")),
    ("panel", "the beeper without its resistor", lambda: merged("BEEPER", "BEEP")),
    ("panel", "a button to the supply", lambda: rewired("S2", "2", "3V3")),
)
