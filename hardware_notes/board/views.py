"""Everything that is made from the tables: `python -m tests.bench.board --write` writes it."""

from collections.abc import Callable, Iterator
from pathlib import Path

from curbtick.hardware import microphones, nets, parts
from curbtick.hardware.components import Bandwidth, Capacitor, Figure
from curbtick.hardware.values import PANEL, SIGNAL, SUPPLY

from hardware_notes import wiring
from hardware_notes.board import kicad, layout, perfboard, planted, rules, sheets
from hardware_notes.frontend import netlist

NOTES = Path(__file__).resolve().parents[1]
DRAWINGS = Path(__file__).with_name("drawings")
HOW = "Made from `curbtick.hardware` by `python -m tests.bench.board --write`."


def _table(head: str, rows: list[str]) -> str:
    columns = head.count("|") - 1
    return f"{head}\n|{'---|' * columns}\n" + "\n".join(rows)


def _counted() -> dict[str, list[str]]:
    """Value's name -> the refs that have it."""
    found: dict[str, list[str]] = {}
    for part in nets.INSTANCES:
        if part.kind in ("resistor", "capacitor"):
            found.setdefault(part.value, []).append(part.ref)
    return found


def _values() -> list[str]:
    rows = []
    counted = _counted()
    for name, part in {**SIGNAL, **SUPPLY, **PANEL}.items():
        if isinstance(part, Bandwidth):
            continue
        refs = counted[name]
        kind = f"{part.kind}, {part.dielectric}" if isinstance(part, Capacitor) else part.kind
        tolerance = f"{part.tolerance_share * 100:g} %"
        rows.append(
            f"| {', '.join(refs)} | {len(refs)} | {kind} | {part.shown} | {tolerance} | {part.what} |"
        )
    return rows


def _span(given: Figure) -> str:
    if given.least == given.most:
        return f"{given.nominal:g}"
    return f"{given.nominal:g} ({given.least:g} to {given.most:g})"


def _conditions(part: parts.Part) -> list[str]:
    return [
        f"| {part.name} | {one.what} | {one.asked} | {_span(one.given)} | {one.given.source} |"
        for one in part.conditions
    ]


def parts_page() -> str:
    """The parts list as Markdown."""
    named = [f"| {p.name} | {p.count} | {p.refs} | {p.example} | {p.second} |" for p in parts.PARTS]
    conditions = [row for part in parts.PARTS for row in _conditions(part)]
    others = [f"| {' | '.join(row)} |" for row in parts.OTHERS]
    capsules = [
        f"| {m.name} | {', '.join(f'{db:+g}' for db in m.shape_db)} | {m.shape_spread_db:g} | {m.plug_mm:g} mm | "
        f"{m.shape_source} |"
        for m in microphones.MICROPHONES
    ]
    places = [f"{at_hz / 1e3:.0f}" for at_hz in microphones.SHAPE_HZ]
    return "\n\n".join(
        [
            f"# Parts\n\n{HOW} A test holds every named part's figure against its condition.",
            "## By name\n\n"
            + _table("| what | count | on drawings | one that meets it | second source |", named),
            "## Conditions\n\n" + _table("| part | figure | asked | has | read in |", conditions),
            f"## Microphones by class\n\nResponse over that at 1 kHz at {', '.join(places[:-1])} and {places[-1]} kHz, "
            "and half its range from part to part and seat to seat, in dB.\n\n"
            + _table("| microphone | response | range | felt plug | source |", capsules)
            + "\n\nWhat the second one costs is in [frontend.md](frontend.md).",
            "## Resistors and capacitors\n\nResistors: metal film, 1/8 W, leaded. Capacitors: leads 5 mm apart.\n\n"
            + _table("| on drawings | count | part | value | tolerance | where |", _values()),
            "## The rest\n\nBoards, mesh, foam and screws are in the case's list: [build.md](build.md).\n\n"
            + _table("| what | count | description |", others),
            _felt(),
        ]
    ) + "\n"  # fmt: skip


def _felt() -> str:
    """How to know good felt, with the probe itself."""
    from hardware_notes.frontend import chain

    plug = microphones.FIRST.plug_mm
    rise = chain.felt_db(48_000.0, plug + 5.0, 1.0) - chain.felt_db(48_000.0, plug, 1.0)
    low, high = (
        chain.felt_db(48_000.0, plug + 5.0, s) - chain.felt_db(48_000.0, plug, s) for s in (0.8, 1.2)
    )
    return (
        "## How to know good felt\n\nOrder by flow resistivity, not by weight or colour. Without a sheet: read one "
        "sound sensor of 48 kHz ten times with the plug, then with 5 mm more of the same felt. The median must fall by "
        f"{rise:.1f} dB; {low:.1f} to {high:.1f} dB is within a fifth of the wanted resistivity (collar/felt.py). "
        "Less: too open, cut the plug longer in proportion. Felt that was wet and dried has shrunk: measure again."
    )


def _rules() -> str:
    lines = []
    for name, rule in rules.RULES.items():
        mistakes = "; ".join(what for broken, what, _ in planted.PLANTED if broken == name)
        lines.append(f"| {name} | {(rule.__doc__ or '').strip()} | {mistakes} |")
    return _table("| rule | what must hold | mistakes planted to prove it |", lines)


def board_page() -> str:
    """Schematic, rules and perfboards as Markdown."""
    found = layout.load()
    pictures = "\n\n".join(f"![{sheet.title}](board/drawings/{sheet.name}.svg)" for sheet in sheets.sheets())
    wires = "\n\n".join(
        f"### Wires of the {board} board\n\nHoles are column, row, seen from the parts' side.\n\n"
        + _table("| net | from | to | length |", perfboard.wire_rows(found, board))
        for board in (layout.FRONT, layout.MAIN)
    )
    return (
        f"# Schematic and boards\n\n{HOW} Connectivity is read back from every drawing and compared with the table; "
        f"[probe.net](board/probe.net) is the same for a layout program.\n\n## Schematic\n\n{pictures}\n\n"
        f"## Electrical rules\n\n{_rules()}\n\n{BUILDING}\n\n## Front end's board\n\n"
        "![Parts](board/drawings/front_parts.svg)\n\n![Wires](board/drawings/front_wires.svg)\n\n"
        "## Controller's board\n\n![Parts](board/drawings/main_parts.svg)\n\n"
        f"![Wires](board/drawings/main_wires.svg)\n\n{wires}\n"
    )


BUILDING = """## How it is built

Two perfboards of 50 x 70 mm, one above the other; the front end is the lower one, row 0 is towards the nose. First the
adapters with their chips, then what lies flat, then what stands. A wire on the solder side is insulated and runs
straight; the list gives them net by net, grounds first. Take each off the list as it is soldered. Before a chip gets
power: no continuity between BIAS and AGND, AVDD and AGND, BATT and VSYS with the switch off.

The microphone is an SMD part with its port in the underside. A ready breakout board saves the reflow oven; without one
its land pattern is the data sheet's, with an unplated hole of 1 mm under the port. The board lies on soft foam in the
nose's seat, port outwards and flush with the nose's end; mesh over the port keeps drops and dust out. Foam must not
reach over the port: a millimetre of it costs more than the felt's tolerance.

The cable to the microphone carries its supply, its signal, and AGND as braid. Keep it off the beeper's and the cells'
leads."""


def _views() -> dict[Path, Callable[[], str]]:
    found: dict[Path, Callable[[], str]] = {
        NOTES / "wiring.svg": wiring.diagram,
        NOTES / "pinout.md": wiring.pinout,
        NOTES / "parts.md": parts_page,
        NOTES / "board.md": board_page,
        kicad.NETLIST: kicad.netlist,
        netlist.NETLIST: netlist.shown,
    }
    for sheet in sheets.sheets():
        found[DRAWINGS / f"{sheet.name}.svg"] = sheet.svg
    for name, drawing in perfboard.drawings(layout.load()).items():
        found[DRAWINGS / name] = _same(drawing)
    return found


def _same(text: str) -> Callable[[], str]:
    return lambda: text


def views() -> Iterator[tuple[Path, str]]:
    """(file, what it must hold), one after the other."""
    for path, make in _views().items():
        yield path, make()


def stale() -> list[str]:
    """The files that do not hold what the tables give."""
    return [path.name for path, text in views() if not path.exists() or path.read_text() != text]


def write() -> None:
    """Write every view."""
    for path, text in views():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
