"""The netlist that a layout program imports: KiCad's s-expression form, version E.

Format: KiCad developer documentation, "S-expression format", and the netlist that its schematic editor exports
(`export (version "E")`, `components`, `nets` with `node (ref ..) (pin ..)`); from memory of that documentation. A test
reads it back with an independent parser. The footprints are those of KiCad's own libraries (names from memory).
"""

from collections.abc import Sequence
from pathlib import Path

from curbtick.hardware import nets, pins
from curbtick.hardware.nets import Instance

NETLIST = Path(__file__).with_name("probe.net")

FOOTPRINTS = {
    "resistor": "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal",
    "capacitor": "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm",
    "amplifier": "Package_SO:TSSOP-14_4.4x5mm_P0.65mm",
    "clamp": "Package_TO_SOT_SMD:SOT-23",
    "p-fet": "Package_TO_SOT_SMD:SOT-23",
    "diode": "Diode_SMD:D_SOD-523",
    "led": "LED_THT:LED_D3.0mm",
    "connector": "Connector_PinHeader_2.54mm:PinHeader_1x03_P2.54mm_Vertical",
    "cable": "Connector_PinHeader_2.54mm:PinHeader_1x06_P2.54mm_Vertical",
    "microphone": "Connector_PinHeader_2.54mm:PinHeader_1x03_P2.54mm_Vertical",
    "controller": "Module:RaspberryPi_Pico_Common_THT",
    "cells": "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical",
    "fuse": "Fuse:Fuse_1812_4532Metric",
    "switch": "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical",
    "button": "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical",
    "beeper": "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical",
}


def _quote(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _component(part: Instance) -> str:
    fields = (
        ("ref", part.ref),
        ("value", part.shown),
        ("footprint", FOOTPRINTS[part.kind]),
        ("description", part.kind),
    )
    return "    (comp " + " ".join(f"({name} {_quote(text)})" for name, text in fields) + ")"


def _net(code: int, name: str, members: Sequence[tuple[Instance, str]]) -> str:
    lines = [f"    (net (code {_quote(str(code))}) (name {_quote(name)})"]
    for part, number in members:
        entry = pins.pin(part.kind, number)
        what = f"(pinfunction {_quote(entry.name)}) (pintype {_quote(entry.type)})"
        lines.append(f"      (node (ref {_quote(part.ref)}) (pin {_quote(number)}) {what})")
    return "\n".join(lines) + ")"


def netlist(parts: Sequence[Instance] = nets.INSTANCES) -> str:
    """The netlist as text."""
    members: dict[str, list[tuple[Instance, str]]] = {}
    for part in parts:
        for number, net in part.nets:
            if net != nets.FREE:
                members.setdefault(net, []).append((part, number))
    lines = [
        '(export (version "E")',
        '  (design (source "curbtick.hardware.nets") (tool "hardware_notes.board.kicad"))',
        "  (components",
        *(_component(part) for part in parts),
        "  )",
        "  (nets",
        *(_net(code, name, members[name]) for code, name in enumerate(sorted(members), start=1)),
        "  )",
        ")",
        "",
    ]
    return "\n".join(lines)
