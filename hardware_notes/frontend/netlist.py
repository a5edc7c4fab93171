"""The circuit for ngspice, made from the table of nets; `frontend.cir` is what write() makes of the nominal values.

The topology is the table's, part by part and net by net, and ngspice solves it by itself: it shares the table with
the formulas of response.py, which are written stage by stage, and nothing else. Ground is ground; the bias is its own
net behind its divider. An operational amplifier is a transconductance into an RC, with its voltage noise as the
thermal noise of a resistor in its input; railed, its output stops short of its supply as its data sheet says.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from curbtick.air import FREEZING_KELVIN
from curbtick.hardware import amplifier, converter, nets, noise, pins, rails
from curbtick.hardware.microphones import FIRST
from curbtick.hardware.nets import Instance
from curbtick.hardware.values import ROOM_K, nominal

NETLIST = Path(__file__).with_name("frontend.cir")
TRANSCONDUCTANCE = 1e-3
MICROPHONE_REST_V = 0.7
# Three NiMH cells in a holder with springs (from memory).
CELLS_OHM = 0.15
TONE = "Vmic source 0 dc {rest} ac 1"

# Diodes and transistor, fitted to the data sheets named in parts.py: BAT54S 0.24 V at 0.1 mA and 0.32 V at 1 mA;
# suppressor 6 V breakdown; P-FET 0.9 V threshold, 0.1 ohm at -2.5 V; the body diode is a silicon one.
MODELS = (
    ".model clamp D(is=2e-8 n=1.05 rs=3 bv=30)",
    ".model suppressor D(is=1e-12 n=1.2 rs=1 bv=6 ibv=1e-3)",
    ".model pfet PMOS(level=1 vto=-0.9 kp=6 lambda=0.01)",
    ".model body D(is=1e-12 n=1.0 rs=0.05 bv=20)",
    ".model board D(is=2e-6 n=1.05 rs=0.05 bv=20)",
)
LINEAR_OUTPUT = "Eo out 0 x 0 1"
# Past the rails a steep conductance holds the integrator, so that it recovers at once, as real parts nearly do.
RAILED_OUTPUT = """Bhigh x 0 I=u(v(x)-v(vcc)+{swing})*(v(x)-v(vcc)+{swing})*10
Blow x 0 I=u(v(vee)+{swing}-v(x))*(v(x)-v(vee)-{swing})*10
Bo out 0 V=max(min(v(x),v(vcc)-{swing}),v(vee)+{swing})"""


@dataclass(frozen=True)
class Supply:
    """How the probe is powered: cable_v on VBUS and cells_v in the holder, None where there is none."""

    cable_v: float | None = None
    cells_v: float | None = 3.75


def node(net: str) -> str:
    """The SPICE node of a net; both grounds are node 0."""
    return "0" if net in nets.GROUNDS else net.lower()


def opamp(gbw_hz: float, railed: bool) -> str:
    """The amplifier's subcircuit."""
    noise_ohm = (amplifier.NOISE_NV_PER_RT_HZ.nominal * 1e-9) ** 2 / (4 * noise.BOLTZMANN * ROOM_K)
    swing = amplifier.SWING_MV.nominal * 1e-3
    return "\n".join(
        [
            ".subckt opamp inp inn out vcc vee",
            f"Rn inp ninp {noise_ohm:.6g}",
            f"Gm 0 x ninp inn {TRANSCONDUCTANCE:g}",
            f"Rp x 0 {amplifier.DC_GAIN / TRANSCONDUCTANCE:g}",
            f"Cp x 0 {TRANSCONDUCTANCE / (2 * math.pi * gbw_hz):.9g}",
            f"Bq vcc vee I={amplifier.SUPPLY_MA.nominal * 1e-3:g}*u(v(vcc)-v(vee)-1)",
            RAILED_OUTPUT.format(swing=swing) if railed else LINEAR_OUTPUT,
            ".ends",
        ]
    )


def _two_pins(part: Instance) -> str:
    return f"{node(part.net('1'))} {node(part.net('2'))}"


def _quad(part: Instance) -> list[str]:
    supply = f"{node(part.net('4'))} {node(part.net('11'))}"
    return [
        f"X{part.ref}{letter} {' '.join(node(part.net(number)) for number in numbers)} {supply} opamp"
        for letter, numbers in pins.QUAD_UNITS.items()
    ]


def _clamp(part: Instance) -> list[str]:
    low, high, middle = (node(part.net(number)) for number in "123")
    return [f"{part.ref}l {low} {middle} clamp", f"{part.ref}h {middle} {high} clamp"]


def _transistor(part: Instance) -> list[str]:
    gate, source, drain = (node(part.net(number)) for number in "123")
    return [f"M{part.ref} {drain} {gate} {source} {source} pfet", f"D{part.ref} {drain} {source} body"]


def _microphone(part: Instance, values: Mapping[str, float], source: str) -> list[str]:
    supply, ground, out = (node(part.net(number)) for number in "123")
    return [
        source,
        f"Rmic source {out} {values['Rmic']:.9g}",
        f"B{part.ref} {supply} {ground} I={FIRST.supply_ma.nominal * 1e-3:g}*u(v({supply})-1)",
    ]


def _controller(part: Instance, supply: Supply) -> list[str]:
    """The board: its diode from VBUS, its converter from VSYS, its reference filter, the divider that senses VBUS."""
    reference = converter.REFERENCE_OHM.nominal
    vbus, vsys, rail, vref = (node(part.net(pad)) for pad in ("40", "39", "36", "35"))
    lines = [
        f"Dboard {vbus} {vsys} board",
        f"Rsense {vbus} 0 15600",
        f"Bload {vsys} 0 I=u(v({vsys})-1.8)*{{board_w}}/max(v({vsys}),1.8)",
        f"Brail {rail} 0 V={converter.RAIL_V.nominal}*u(v({vsys})-1.8)",
        f"Rref {rail} {vref} {reference:g}",
        f"Bref {vref} 0 I={converter.REFERENCE_MA.nominal * 1e-3:g}*u(v({vref})-1)",
        f"Cref {vref} 0 {converter.REFERENCE_F:g}",
    ]
    return lines if supply.cable_v is None else [*lines, f"Vcable {vbus} 0 {supply.cable_v:g}"]


def _cells(part: Instance, supply: Supply) -> list[str]:
    if supply.cells_v is None:
        return []
    plus, minus = node(part.net("1")), node(part.net("2"))
    return [
        f"V{part.ref} {part.ref.lower()}i {minus} {supply.cells_v:g}",
        f"R{part.ref} {part.ref.lower()}i {plus} 0.15",
    ]


def _lines(part: Instance, values: Mapping[str, float], source: str, supply: Supply) -> list[str]:
    """The SPICE lines of a part; none for the panel and for connectors, whose wires are nets already."""
    if part.kind in ("resistor", "capacitor"):
        return [f"{part.ref} {_two_pins(part)} {values[part.value]:.9g}"] if part.value in values else []
    made: dict[str, list[str]] = {
        "amplifier": _quad(part) if part.kind == "amplifier" else [],
        "clamp": _clamp(part) if part.kind == "clamp" else [],
        "p-fet": _transistor(part) if part.kind == "p-fet" else [],
        "microphone": _microphone(part, values, source) if part.kind == "microphone" else [],
        "controller": _controller(part, supply) if part.kind == "controller" else [],
        "cells": _cells(part, supply) if part.kind == "cells" else [],
        "diode": [f"{part.ref} {node(part.nets[1][1])} {node(part.nets[0][1])} suppressor"],
        "fuse": [f"Rfuse_{part.ref} {_two_pins(part)} 0.15"],
        "switch": [f"Rswitch_{part.ref} {_two_pins(part)} 0.02"],
    }
    return made.get(part.kind, [])


def netlist(
    values: Mapping[str, float],
    source: str = TONE.format(rest=MICROPHONE_REST_V),
    control: str = "",
    railed: bool = False,
    supply: Supply | None = None,
    instances: tuple[Instance, ...] = nets.INSTANCES,
    board_w: float = 0.1,
) -> str:
    """The whole circuit.

    values: of the signal path; source: drives node `source`, the microphone's own voltage; control: ngspice commands;
    railed: amplifiers and bounds as real ones have them; board_w: what the controller board draws in W.
    """
    whole = {**rails.nominal_values(), **values}
    lines = [
        "* The probe's analogue circuit and supplies, made from curbtick.hardware.nets",
        f".options temp={ROOM_K - FREEZING_KELVIN:.2f} tnom={ROOM_K - FREEZING_KELVIN:.2f}",
        *(line for part in instances for line in _lines(part, whole, source, supply or Supply())),
        *MODELS,
        opamp(values["GBW"], railed),
    ]
    if control:
        lines += [".control", control, ".endc"]
    return "\n".join([*lines, ".end", ""]).replace("{board_w}", f"{board_w:g}")


def shown() -> str:
    """The nominal circuit, as it is kept beside this module."""
    return netlist(nominal())


def write() -> None:
    """Write the nominal netlist beside this module."""
    NETLIST.write_text(shown())


if __name__ == "__main__":
    write()
