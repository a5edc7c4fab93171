"""Everything public says what it is; everything measured says its unit."""

import ast
from pathlib import Path

import pytest
from curbtick_wire import records, settings

from tests.conventions.sources import functions, python_files, shown, tree
from tests.paths import FIRMWARE, HOST, WIRE

FILES = python_files(FIRMWARE, HOST, WIRE)
UNITS = {
    *(
        "cdb",
        "db",
        "dbfs",
        "db_per_m",
        "db_per_month",
        "hz",
        "khz",
        "mhz",
        "rad",
        "deg",
        "ppm",
        "permille",
        "percent",
        "sigma",
    ),
    *("ns", "us", "ms", "s", "hours", "days", "mm", "m", "m_per_s", "pa", "kpa", "c", "k", "ddeg"),
    *("v", "mv", "a", "ma", "mah", "w", "mw", "j", "ohm", "pf", "nf", "uf"),
    *("code", "codes", "samples", "blocks", "bytes", "bits"),
}

# Fields that count, name or enumerate, and so have no unit.
UNITLESS = {
    *(
        "kind",
        "layout",
        "size",
        "seq",
        "boot",
        "revision",
        "limits_revision",
        "calibration_revision",
        "blocks_lost",
        "collections",
        "crash_boot",
        "cause",
        "round_id",
        "class",
        "classes",
        "input",
    ),
    *(
        "vehicle",
        "vehicles",
        "bumper",
        "position",
        "positions",
        "front_positions",
        "rear_positions",
        "section",
    ),
    *(
        "verdict",
        "verdicts",
        "result",
        "reasons",
        "proofs",
        "event",
        "value",
        "extra",
        "failed",
        "first",
        "shift",
    ),
    *("count", "burst_count", "due_count", "sound_count", "sample_count", "envelope_count", "vehicle_count"),
    *("class_count", "reading_seq", "reading_seqs", "supersedes_seq"),
}
RATIOS = ("share", "kappa", "missing", "probability", "ratio", "fraction", "factor", "gain")


def has_unit(name: str) -> bool:
    """Whether the name is a unit or ends with one."""
    return any(name == unit or name.endswith(f"_{unit}") for unit in UNITS)


@pytest.mark.parametrize("path", [p for p in FILES if p.read_text().strip()], ids=shown)
def test_every_module_says_what_it_is(path: Path) -> None:
    assert ast.get_docstring(tree(path))


@pytest.mark.parametrize("path", FILES, ids=shown)
def test_every_public_function_and_class_says_what_it_does(path: Path) -> None:
    silent = [str(f) for f in functions(path) if f.public and not ast.get_docstring(f.node)]
    for node in tree(path).body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_") and not ast.get_docstring(node):
            silent.append(f"{shown(path)}:{node.lineno} {node.name}")
    assert not silent


def all_fields() -> list[str]:
    """Every field name of a record, a limit set and a round."""
    tables = [fields for _, _, fields, _ in records.KINDS]
    tables += [
        records.HEADER,
        settings.LIMIT_SET,
        settings.LIMIT_CLASS,
        settings.ROUND,
        settings.ROUND_VEHICLE,
    ]
    return [field[0] for table in tables for field in table]


@pytest.mark.parametrize("name", sorted(set(all_fields())))
def test_every_field_names_its_unit(name: str) -> None:
    assert name in UNITLESS or has_unit(name)


def float_fields(path: Path) -> list[str]:
    """The annotated class attributes of the file that hold a float."""
    classes = [node for node in ast.walk(tree(path)) if isinstance(node, ast.ClassDef)]
    lines = [line for node in classes for line in node.body if isinstance(line, ast.AnnAssign)]
    return [ast.unparse(n.target) for n in lines if "float" in ast.unparse(n.annotation).split(" | ")]


@pytest.mark.parametrize("path", [p for p in python_files(HOST) if float_fields(p)], ids=shown)
def test_every_measured_attribute_names_its_unit(path: Path) -> None:
    names = [name for name in float_fields(path) if not any(word in name for word in RATIOS)]
    assert not [name for name in names if not has_unit(name)]
