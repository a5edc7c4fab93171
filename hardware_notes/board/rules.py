"""Electrical rules over the table of nets: what a person checks by eye and forgets.

Every rule returns sentences that say which part breaks it. `planted.py` breaks each rule once, and a test makes sure
that the rule sees it.
"""

from collections.abc import Callable, Iterable, Sequence

from curbtick.hardware import nets, pins
from curbtick.hardware.nets import Instance
from curbtick.hardware.pins import INPUT, OUTPUT, POWER_IN, POWER_OUT
from curbtick.hardware.values import component

# What passes a supply on without changing what it is.
_PASSES = ("resistor", "fuse", "switch")
_CLAMP_OHM = 100.0
_LOCAL_NF, _BULK_NF = 100.0, 10_000.0

Parts = Sequence[Instance]


def _pins(part: Instance) -> Iterable[tuple[pins.Pin, str]]:
    for number, net in part.nets:
        yield pins.pin(part.kind, number), net


def _on(parts: Parts, net: str) -> list[tuple[Instance, pins.Pin]]:
    """Every pin on a net."""
    return [(part, pin) for part in parts for pin, there in _pins(part) if there == net]


def _by_role(parts: Parts, kind: str) -> Iterable[tuple[Instance, dict[str, str]]]:
    """Each part of a kind with the net at each role."""
    for part in parts:
        if part.kind == kind:
            yield part, {pin.role: net for pin, net in _pins(part) if pin.role}


def _across(parts: Parts, kind: str, first: str, second: str) -> list[Instance]:
    """The two-pin parts of a kind between two nets."""
    return [part for part in parts if part.kind == kind and {net for _, net in part.nets} == {first, second}]


def _si(part: Instance) -> float:
    found = component(part.value)
    return found.si if found else 0.0


def _reach(parts: Parts, start: str, kinds: Sequence[str]) -> set[str]:
    """The nets that a net reaches through two-pin parts of these kinds."""
    found, waiting = {start}, [start]
    while waiting:
        here = waiting.pop()
        for part in parts:
            there = {net for _, net in part.nets}
            if part.kind in kinds and here in there:
                waiting += [net for net in there if net not in found and net not in nets.GROUNDS]
                found |= there - set(nets.GROUNDS)
    return found


def complete(parts: Parts) -> list[str]:
    """Every pin is in the table once, connected or marked free; every ref once; no net ends at a single pin."""
    wrong = []
    refs = [part.ref for part in parts]
    wrong += [f"{ref} stands twice in the table" for ref in sorted({r for r in refs if refs.count(r) > 1})]
    for part in parts:
        given = [number for number, _ in part.nets]
        due = [pin.number for pin in pins.PINS[part.kind]]
        wrong += [
            f"{part.ref} pin {number} is neither connected nor marked free"
            for number in due
            if number not in given
        ]
        wrong += [f"{part.ref} has pin {number} twice" for number in {n for n in given if given.count(n) > 1}]
        wrong += [f"{part.ref} has no pin {number}" for number in given if number not in due]
        if len(part.nets) == 2 and len({net for _, net in part.nets}) == 1:
            wrong.append(f"{part.ref} has both its pins on {part.nets[0][1]}")
    for net, members in nets.connectivity(parts).items():
        if len(members) < 2:
            ref, number = next(iter(members))
            wrong.append(f"net {net} ends at {ref} pin {number} and nothing else")
    return wrong


def one_driver(parts: Parts) -> list[str]:
    """At most one output or supply drives a net."""
    wrong = []
    for net in nets.connectivity(parts):
        drivers = [
            f"{p.ref} pin {pin.number}" for p, pin in _on(parts, net) if pin.type in (OUTPUT, POWER_OUT)
        ]
        if len(drivers) > 1:
            wrong.append(f"net {net} is driven by {' and '.join(drivers)}")
    return wrong


def fed(parts: Parts) -> list[str]:
    """Every pin that needs a supply reaches one; every amplifier input has something that sets its voltage."""
    wrong = []
    for part in parts:
        for pin, net in _pins(part):
            if pin.type == POWER_IN and pin.role != "ground":
                kinds = (*_PASSES, "p-fet")
                sources = {
                    p.ref
                    for there in _reach(parts, net, kinds)
                    for p, q in _on(parts, there)
                    if q.type == POWER_OUT
                }
                if not sources:
                    wrong.append(f"{part.ref} pin {pin.number} has no supply")
            if part.kind == "amplifier" and pin.type == INPUT and net == nets.FREE:
                wrong.append(f"{part.ref} pin {pin.number} is an input left free")
    return wrong


def bias_apart(parts: Parts) -> list[str]:
    """The bias is no ground, no output drives it, only its divider ties it to AGND; the grounds meet once."""
    wrong = []
    for part, pin in _on(parts, nets.BIAS):
        if pin.type in (OUTPUT, POWER_OUT, POWER_IN) or pin.role == "ground":
            wrong.append(f"{part.ref} pin {pin.number} may not be on the bias")
    tied = [part.ref for part in _across(parts, "resistor", nets.BIAS, nets.AGND)]
    if len(tied) != 1:
        wrong.append(f"one resistor must tie the bias to {nets.AGND}; there are {len(tied)}: {tied}")
    if not _across(parts, "resistor", nets.BIAS, nets.REFERENCE):
        wrong.append(f"no resistor feeds the bias from {nets.REFERENCE}")
    for part in parts:
        if part.kind != "controller" and set(nets.GROUNDS) <= {net for _, net in part.nets}:
            wrong.append(f"{part.ref} ties {nets.AGND} to {nets.GND}: they meet on the controller board only")
        if part.kind in ("amplifier", "microphone"):
            ground = {pin.role: net for pin, net in _pins(part)}.get("ground")
            wrong += (
                [] if ground == nets.AGND else [f"{part.ref}'s ground is on {ground}, not on {nets.AGND}"]
            )
    return wrong


def decoupled(parts: Parts) -> list[str]:
    """Each package has 100 nF at its supply; each filtered supply and the bias have 10 uF besides."""
    wrong = []
    for net in nets.DECOUPLED:
        holds = [_si(part) * 1e9 for part in _across(parts, "capacitor", net, nets.AGND)]
        users = {p.ref for p, pin in _on(parts, net) if pin.type == POWER_IN}
        local = sum(1 for nf in holds if round(nf, 3) == _LOCAL_NF)
        if local < max(1, len(users)):
            wrong.append(
                f"{net} needs {max(1, len(users))} capacitors of 100 nF to {nets.AGND}, it has {local}"
            )
        if not any(round(nf, 3) >= _BULK_NF for nf in holds):
            wrong.append(f"{net} has no capacitor of 10 uF or more to {nets.AGND}")
    return wrong


def _protection(parts: Parts, net: str) -> list[str]:
    """What an ADC pin's net lacks."""
    lacks = []
    clamps = [roles for _, roles in _by_role(parts, "clamp") if roles["middle"] == net]
    if not any(roles["low_anode"] == nets.AGND and roles["high_cathode"] == nets.RAIL for roles in clamps):
        lacks.append(f"a clamp from {nets.AGND} to {nets.RAIL}")
    series = [p for p, _ in _on(parts, net) if p.kind == "resistor" and _si(p) >= _CLAMP_OHM]
    if not series:
        lacks.append("a series resistor of 100 ohm or more")
    if not _across(parts, "capacitor", net, nets.AGND):
        lacks.append(f"a capacitor to {nets.AGND}")
    if any(pin.type == OUTPUT for _, pin in _on(parts, net)):
        lacks.append("a resistor between it and the output that drives it")
    return lacks


def inputs_protected(parts: Parts) -> list[str]:
    """Every ADC pin has its clamp the right way round, its resistor and its capacitor."""
    wrong = []
    for part in parts:
        for pin, net in _pins(part):
            if pin.role == "adc":
                wrong += [
                    f"{part.ref} pad {pin.number} ({net}) lacks {what}" for what in _protection(parts, net)
                ]
    return wrong


def transistor(parts: Parts) -> list[str]:
    """The P-FET: drain towards the cells, source at VSYS, gate at VBUS with a resistor down."""
    wrong = []
    cells = [roles["plus"] for _, roles in _by_role(parts, "cells")]
    for part, roles in _by_role(parts, "p-fet"):
        behind = set().union(*(_reach(parts, net, ("fuse", "switch")) for net in cells))
        if roles["drain"] not in behind:
            wrong.append(
                f"{part.ref}'s drain must be towards the cells: turned round, its body diode charges them from USB"
            )
        if roles["source"] != "VSYS":
            wrong.append(f"{part.ref}'s source must be at VSYS, not at {roles['source']}")
        if roles["gate"] != "VBUS":
            wrong.append(f"{part.ref}'s gate must be at VBUS, not at {roles['gate']}")
        if not _across(parts, "resistor", roles["gate"], nets.GND):
            wrong.append(f"{part.ref}'s gate has no resistor to {nets.GND}")
    return wrong


def cells(parts: Parts) -> list[str]:
    """Cells: minus at GND, a fuse next to the plus, a switch behind it, and no way round the P-FET."""
    wrong = []
    for part, roles in _by_role(parts, "cells"):
        if roles["minus"] != nets.GND:
            wrong.append(f"{part.ref}'s minus must be at {nets.GND}, not at {roles['minus']}")
        near = [p.kind for p, _ in _on(parts, roles["plus"]) if p is not part]
        if near != ["fuse"]:
            wrong.append(f"{part.ref}'s plus must lead to the fuse alone, not to {near}")
        reached = _reach(parts, roles["plus"], _PASSES)
        for forbidden in sorted(reached & {"VSYS", "VBUS", nets.RAIL, nets.REFERENCE}):
            wrong.append(f"{part.ref} reaches {forbidden} without passing the P-FET")
        drains = {drain for _, found in _by_role(parts, "p-fet") if (drain := found["drain"])}
        if drains & _reach(parts, roles["plus"], ("fuse", "resistor")):
            wrong.append(f"{part.ref} reaches the P-FET without a switch")
    return wrong


def diodes(parts: Parts) -> list[str]:
    """Suppressors: anode at ground, on the line that leaves the board; clamps: neither end swapped."""
    wrong = []
    for part, roles in _by_role(parts, "diode"):
        if roles["anode"] not in nets.GROUNDS:
            wrong.append(f"{part.ref} (suppressor) must have its anode at a ground, not at {roles['anode']}")
    for part, roles in _by_role(parts, "clamp"):
        if (roles["low_anode"], roles["high_cathode"]) != (nets.AGND, nets.RAIL):
            wrong.append(
                f"{part.ref} must run from {nets.AGND} to {nets.RAIL}: it would short or not protect"
            )
    for part in parts:
        if part.kind == "microphone":
            out = {pin.role: net for pin, net in _pins(part)}["output"]
            if not any(roles["cathode"] == out for _, roles in _by_role(parts, "diode")):
                wrong.append(f"{part.ref}'s line {out} has no suppressor")
    return wrong


def panel(parts: Parts) -> list[str]:
    """LEDs: cathode at GND and a resistor to one output; beeper: a resistor; buttons: to GND."""
    wrong = []
    for part, roles in _by_role(parts, "led"):
        if roles["cathode"] != nets.GND:
            wrong.append(f"{part.ref}'s cathode must be at {nets.GND}, not at {roles['cathode']}")
        series = [p for p, _ in _on(parts, roles["anode"]) if p.kind == "resistor"]
        driven = [q for p in series for _, net in p.nets for _, q in _on(parts, net) if q.type == OUTPUT]
        if len(driven) != 1:
            wrong.append(f"{part.ref} needs one resistor to one output")
    for part in parts:
        there = {net for _, net in part.nets}
        if part.kind == "button" and nets.GND not in there:
            wrong.append(f"{part.ref} must close to {nets.GND}")
        if part.kind == "beeper" and any(q.type == OUTPUT for net in there for _, q in _on(parts, net)):
            wrong.append(f"{part.ref} needs a resistor before it")
    return wrong


RULES: dict[str, Callable[[Parts], list[str]]] = {
    "complete": complete,
    "one_driver": one_driver,
    "fed": fed,
    "bias_apart": bias_apart,
    "decoupled": decoupled,
    "inputs_protected": inputs_protected,
    "transistor": transistor,
    "cells": cells,
    "diodes": diodes,
    "panel": panel,
}


def violations(parts: Parts = nets.INSTANCES) -> dict[str, list[str]]:
    """Every rule's sentences; an empty list where it holds."""
    return {name: rule(parts) for name, rule in RULES.items()}
