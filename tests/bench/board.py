"""The board: electrical rules, drawings and layouts read back, and how it rests on every supply.

`python -m tests.bench.board --json`. Each rule is proved by planting mistakes; each reader by taking away a wire of
its drawing. `--write` writes netlist, schematic, perfboard drawings and the pages made from the table.
"""

import random
import re
import tempfile
from pathlib import Path
from typing import Any

from tests.bench import _common

import kinparse  # isort: skip
from curbtick.hardware import nets, rails  # isort: skip

from hardware_notes.board import kicad, layout, planted, readback, rules, sheets, supplies, views  # isort: skip
from hardware_notes.board.layout import Layout  # isort: skip

CHARGE_A = 10e-6
OFF_V = 0.05
# What a pin of the chip may stand over its supply (RP2040 data sheet, absolute maximum ratings; from memory).
PIN_OVER_RAIL_V = 0.5

Figures = list[dict[str, Any]]


def _most(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f"<= {bound:g}", value <= bound)


def _least(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f">= {bound:g}", value >= bound)


def rule_figures() -> Figures:
    """The table breaks no rule, and each planted mistake is seen by its rule."""
    broken = sum(map(len, rules.violations().values()))
    seen = sum(bool(rules.RULES[rule](make())) for rule, _, make in planted.PLANTED)
    proved = {rule for rule, _, make in planted.PLANTED if rules.RULES[rule](make())}
    return [
        _most("rules_broken", broken, 0),
        _least("planted_mistakes_seen", seen, len(planted.PLANTED)),
        _least("rules_proved", len(proved), len(rules.RULES)),
    ]


def netlist_groups(text: str) -> set[frozenset[tuple[str, str]]]:
    """The groups of pins in a KiCad netlist, by an independent parser (PyPI kinparse)."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "probe.net"
        path.write_text(text)
        found = kinparse.parse_netlist(str(path))
    return {frozenset((pin.ref, pin.num) for pin in net.pins) for net in found.nets}


def schematic_gaps(svgs: list[tuple[str, str]]) -> int:
    """How many nets the drawn sheets have otherwise than the table, names and free pins included."""
    drawn, free = readback.connectivity(svgs)
    due = {members: net for net, members in nets.connectivity().items()}
    wrong_names = sum(bool(names - {due[members]}) for members, names in drawn.items() if members in due)
    due_free = {(part.ref, pin) for part in nets.INSTANCES for pin, net in part.nets if net == nets.FREE}
    return len(set(drawn) ^ set(due)) + wrong_names + len(free ^ due_free)


def _cut(svg: str, number: int) -> str:
    """A sheet without one of its wires."""
    wires = list(re.finditer(r'<polyline class="wire"[^>]*/>\n?', svg))
    gone = wires[number % len(wires)]
    return svg[: gone.start()] + svg[gone.end() :]


def _seen_cut(svgs: list[tuple[str, str]], generator: random.Random) -> bool:
    """Whether the reader sees that a wire is missing somewhere."""
    sheet = generator.choice([place for place, (_, svg) in enumerate(svgs) if 'class="wire"' in svg])
    name, svg = svgs[sheet]
    damaged = [*svgs[:sheet], (name, _cut(svg, generator.randrange(10_000))), *svgs[sheet + 1 :]]
    try:
        return schematic_gaps(damaged) > 0
    except readback.Ambiguous:
        return True


def drawing_figures(count: int, seed: int) -> Figures:
    """Netlist and schematic read back; missing wires seen; what is committed is fresh."""
    generator = random.Random(seed)
    svgs = [(sheet.name, sheet.svg()) for sheet in sheets.sheets()]
    due = set(nets.connectivity().values())
    netlist = kicad.netlist()
    first_net = re.search(r"\n      \(node [^\n]*", netlist)
    assert first_net is not None
    damaged = netlist[: first_net.start()] + netlist[first_net.end() :]
    return [
        _most("netlist_gaps", len(netlist_groups(netlist) ^ due), 0),
        _least("netlist_damage_seen", len(netlist_groups(damaged) ^ due), 1),
        _most("schematic_gaps", schematic_gaps(svgs), 0),
        _least(
            "missing_wires_seen_share", sum(_seen_cut(svgs, generator) for _ in range(count)) / count, 1.0
        ),
        _most("stale_views", len(views.stale()), 0),
    ]


def layout_figures(count: int, seed: int) -> Figures:
    """The perfboards make the table's connections and keep their distances; missing and wrong wires are seen."""
    generator = random.Random(seed)
    found = layout.load()
    seen = 0
    for _ in range(count):
        kept = list(found.wires)
        gone = kept.pop(generator.randrange(len(kept)))
        if generator.random() < 0.5:
            other = generator.choice(
                [wire for wire in kept if wire.board == gone.board and wire.net != gone.net]
            )
            kept.append(layout.Wire(gone.board, gone.net, gone.start, other.end))
        seen += bool(layout.problems(Layout(found.spots, found.landings, tuple(kept))))
    longest = max(wire.length_mm for wire in found.wires if wire.net in layout.SENSITIVE)
    apart = max(layout.decoupling_mm(found, *pair) for pair in layout.DECOUPLING)
    return [
        _most("layout_problems", len(layout.problems(found)), 0),
        _least("layout_mistakes_seen_share", seen / count, 1.0),
        _most("longest_sensitive_wire_mm", longest, layout.SENSITIVE_WIRE_MM),
        _least("microphone_to_converter_mm", layout.sensitive_mm(found), layout.NOISY_MM),
        _least("microphone_to_beeper_mm", layout.beeper_mm(found), layout.NOISY_MM),
        _most("supply_pin_to_capacitor_to_ground_mm", apart, layout.DECOUPLING_MM),
    ]


def supply_figures() -> Figures:
    """Every supply case: outputs at the bias, nothing into the cells, nothing backwards."""
    found = {name: supplies.rest(case) for name, case in supplies.CASES.items()}
    bias_v = rails.rails().bias_v
    live = [rest for name, rest in found.items() if name not in ("neither", "reversed cells")]
    off = [found["neither"], found["reversed cells"]]
    from_bias_v = max(abs(volts - bias_v) for rest in live for volts in rest.outputs_v.values())
    fault = supplies.cable_on_an_output()
    return [
        _most("outputs_from_bias_mv", 1e3 * from_bias_v, 20.0),
        _least("lowest_vsys_on_any_supply_v", min(rest.vsys_v for rest in live), 3.0),
        _most("charge_into_cells_ua", 1e6 * max(rest.cells_a for rest in found.values()), 1e6 * CHARGE_A),
        _most("reversed_cells_ua", 1e6 * max(abs(rest.cells_a) for name, rest in found.items() if "reversed" in name),
              1e6 * CHARGE_A),
        _most("rails_when_off_v", max(max(abs(rest.vsys_v), abs(rest.rail_v)) for rest in off), OFF_V),
        _most("clamp_leakage_ua", 1e6 * max(abs(a) for rest in live for a in rest.clamps_a.values()), 2.0),
        _least("p_fet_turned_round_charges_ma", 1e3 * supplies.turned_round().cells_a, 10.0),
        _most("cable_on_an_output_pin_v", fault.outputs_v["v(low)"], fault.rail_v + PIN_OVER_RAIL_V),
        _most("cable_on_an_output_clamp_ma", 1e3 * max(abs(a) for a in fault.clamps_a.values()), 200.0),
    ]  # fmt: skip


def main() -> None:
    asked = _common.arguments(
        __doc__ or "", ("--write", {"action": "store_true", "help": "write every view made from the table"})
    )
    if asked.write:
        views.write()
    count = 20 if asked.short else 200
    figures = [
        *rule_figures(),
        *drawing_figures(count, asked.seed),
        *layout_figures(count, asked.seed),
        *supply_figures(),
    ]
    if not asked.json:
        for entry in figures:
            print(
                f"{entry['name']:40} {entry['value']:10} {entry['bound']:>12} {'ok' if entry['holds'] else 'MISSED'}"
            )
    _common.report(figures, asked)


if __name__ == "__main__":
    main()
