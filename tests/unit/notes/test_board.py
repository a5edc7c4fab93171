"""The board: rules and their proofs, drawings read back, layouts, parts and their conditions, supplies by ngspice."""

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from curbtick.hardware import nets, parts
from curbtick.hardware.components import figure
from curbtick.hardware.nets import Instance

from hardware_notes.board import kicad, layout, planted, readback, rules, sheets, supplies
from hardware_notes.board.sheet import Sheet
from tests import programs
from tests.bench import board
from tests.paths import ROOT


@pytest.fixture
def ngspice() -> None:
    """ngspice itself; what needs no simulation is checked without it."""
    programs.needed(programs.NGSPICE)


@pytest.mark.parametrize("name", rules.RULES)
def test_the_table_keeps_every_rule(name: str) -> None:
    assert rules.RULES[name](nets.INSTANCES) == []


@pytest.mark.parametrize(
    ("rule", "what", "make"), planted.PLANTED, ids=[what for _, what, _ in planted.PLANTED]
)
def test_each_rule_sees_its_mistake(rule: str, what: str, make: Callable[[], tuple[Instance, ...]]) -> None:
    assert rules.RULES[rule](make()), what


def test_every_rule_is_proved() -> None:
    assert {rule for rule, _, _ in planted.PLANTED} == set(rules.RULES)


def test_netlist_read_by_another_parser_is_the_table() -> None:
    assert board.netlist_groups(kicad.netlist()) == set(nets.connectivity().values())
    assert board.netlist_groups(kicad.netlist(planted.merged("AGND", "BIAS"))) != set(
        nets.connectivity().values()
    )


def test_schematic_read_back_is_the_table() -> None:
    svgs = [(sheet.name, sheet.svg()) for sheet in sheets.sheets()]
    assert board.schematic_gaps(svgs) == 0
    renamed = [(name, svg.replace("<title>BIAS</title>", "<title>AGND</title>")) for name, svg in svgs]
    assert board.schematic_gaps(renamed) > 0


def test_every_part_is_named_on_the_schematic() -> None:
    text = "".join(sheet.svg() for sheet in sheets.sheets())
    assert [
        part.ref
        for part in nets.INSTANCES
        if f">{part.ref}" not in text and f"<title>{part.ref}." not in text
    ] == []


def test_wires_that_cross_without_a_joint_are_apart() -> None:
    cross = Sheet("cross", "")
    cross.wire((0, 5), (10, 5))
    cross.wire((5, 0), (5, 10))
    for net, place in (("A", (0.0, 5.0)), ("B", (5.0, 0.0))):
        cross.tag(net, place, "l")
    cross.part("Rm", (10, 5))
    cross.part("Cm", (5, 10), "d")
    apart, _ = readback.connectivity([("cross", cross.svg())])
    assert {"A"} in apart.values() and {"B"} in apart.values()
    cross.dot((5, 5))
    joined, _ = readback.connectivity([("cross", cross.svg())])
    assert {"A", "B"} in joined.values()


def test_a_wire_that_ends_on_another_without_a_joint_is_refused() -> None:
    unclear = Sheet("unclear", "")
    unclear.wire((0, 5), (10, 5))
    unclear.wire((5, 0), (5, 5))
    with pytest.raises(readback.Ambiguous, match="without a joint"):
        readback.connectivity([("unclear", unclear.svg())])


def test_the_perfboards_make_the_table_s_connections() -> None:
    assert layout.problems(layout.load()) == []


def test_layout_mistakes_are_told() -> None:
    found = layout.load()
    short = layout.Wire("front end", "BIAS", found.spots["Rv2"].hole, found.spots["J3"].hole)
    assert any(
        "not in the table" in line for line in layout.problems(replace(found, wires=(*found.wires, short)))
    )
    moved = {**found.spots, "Rm": found.spots["Rs1"]}
    assert any("both take" in line for line in layout.problems(replace(found, spots=moved)))
    gone = {ref: spot for ref, spot in found.spots.items() if ref != "D2"}
    assert "D2 has no place" in layout.problems(replace(found, spots=gone))


def test_a_damaged_layout_file_is_refused_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "layout.json").write_text(json.dumps({"spots": {"U1": ["controller"]}}))
    with pytest.raises(ValueError, match=r"arrange"):
        layout.load(tmp_path / "layout.json")


@pytest.mark.parametrize("part", parts.PARTS, ids=lambda part: part.name)
def test_every_named_part_meets_its_conditions(part: parts.Part) -> None:
    assert part.conditions
    for one in part.conditions:
        assert one.met, f"{part.example}: {one.what} is {one.given.span}, asked {one.asked}"
        assert one.given.source and one.asked


def test_a_part_that_misses_a_condition_is_seen() -> None:
    assert not parts.Condition("voltage", (5.0, None), figure(5.5, 4.9, 6.0, "invented")).met
    assert parts.Condition("voltage", (5.0, None), figure(5.5, 5.1, 6.0, "invented")).met


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize("name", supplies.CASES)
def test_no_supply_case_charges_the_cells(name: str) -> None:
    assert supplies.rest(supplies.CASES[name]).cells_a < board.CHARGE_A


@pytest.mark.usefixtures("ngspice")
def test_a_p_fet_turned_round_would_charge_them() -> None:
    assert supplies.turned_round().cells_a > 0.01


@pytest.mark.usefixtures("ngspice")
def test_bench_holds() -> None:
    command = [sys.executable, "-m", "tests.bench.board", "--json", "--short"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
