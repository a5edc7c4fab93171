"""The pictures of case and building: each step, and sections. Made by `python -m hardware_notes.case --pictures`.

Each picture carries the digest of what it was drawn from, so that a test can tell a stale one without drawing.
"""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from build123d import Part, Plane, Pos, Vector

from hardware_notes.case import assembly, drawing, fit
from hardware_notes.case import dimensions as d
from hardware_notes.case.assembly import PRINTED
from hardware_notes.case.digest import digest
from hardware_notes.case.nose import screw_places
from hardware_notes.case.shapes import rod
from hardware_notes.case.shell import along, board_posts, columns

FOLDER = Path(__file__).resolve().parents[1] / "pictures" / "case"
COLOURS = {
    "collar": "#9fd9bd",
    "nose": "#e0bd98",
    "shell": "#bcbcbc",
    "lid": "#c9c9de",
    "door": "#dcc9c9",
    "cap": "#f2c879",
}
FELT = "#f4efe0"
BEHIND = drawing.View((-0.75, 0.85, 1.0))
BEFORE = drawing.View((-0.9, 0.6, -0.8))
ABOVE = drawing.View((-0.35, 1.0, 0.75))

# A body's name, how far it is moved (x, y, z), and its label, empty for none.
Shown = Sequence[tuple[str, tuple[float, float, float], str]]


def _moved(bodies: fit.Solids, shown: Shown) -> list[Part]:
    return [Pos(*shift) * part for name, shift, _ in shown for part in bodies[name]]


def _labels(sheet: drawing.Sheet, bodies: fit.Solids, shown: Shown, view: drawing.View) -> None:
    """Words in two columns beside the picture, in the order of the bodies' heights, so that no leaders cross."""
    left, right = min(x for x, _ in sheet.points), max(x for x, _ in sheet.points)
    middle = (left + right) / 2
    sides: dict[bool, list[tuple[drawing.Point, str]]] = {True: [], False: []}
    for name, shift, label in shown:
        if label:
            centre = bodies[name][0].bounding_box().center() + Vector(*shift)
            at = view.flat(_on_surface(bodies[name][0], shift, centre, view))
            sides[at[0] > middle].append((at, label))
    for is_right, entries in sides.items():
        entries.sort(key=lambda entry: -entry[0][1])
        top = max((at[1] for at, _ in entries), default=0.0)
        x = right + 8.0 if is_right else left - 8.0
        for at, label in entries:
            top = min(top, at[1])
            sheet.label(at, (x, top), label)
            top -= drawing.FONT * 1.6


def _on_surface(part: Part, shift: tuple[float, float, float], centre: Vector, view: drawing.View) -> Vector:
    """The middle of the face nearest to the eye, or a place on its edge where that face has a hole there."""
    towards = Vector(*view.towards_eye).normalized()
    moved = Pos(*shift) * part
    faces = sorted(moved.faces(), key=lambda face: -(face.center() - centre).dot(towards))
    middle = faces[0].center()
    return middle if faces[0].is_inside(middle) else faces[0].outer_wire().position_at(0.4)


def seen(bodies: fit.Solids, title: str, shown: Shown, view: drawing.View = BEHIND) -> drawing.Sheet:
    """A picture of bodies, some moved away, with their names."""
    sheet = drawing.Sheet(title)
    drawing.draw_seen(sheet, _moved(bodies, shown), view)
    _labels(sheet, bodies, shown, view)
    return sheet


HOME = (0.0, 0.0, 0.0)


def whole(bodies: fit.Solids) -> drawing.Sheet:
    """The probe from behind, as the technician holds it."""
    shown = [
        ("collar", HOME, "collar"), ("rim felt", HOME, ""), ("nose", HOME, "nose"), ("shell", HOME, "shell"),
        ("lid", HOME, "lid"), ("window", HOME, "bar under its hood"), ("door", HOME, "cell door"), ("cap", HOME, ""),
        ("stopper", HOME, ""),
    ]  # fmt: skip
    return seen(bodies, "The probe, seen from behind", shown)


def printed(_: fit.Solids) -> drawing.Sheet:
    """The parts as they lie on the printer's bed."""
    places = {
        "shell": (0, 0), "lid": (95, 0), "door": (95, 10), "collar": (-80, 40), "nose": (-80, 120),
        "cap": (160, 30), "stopper": (160, 70),
    }  # fmt: skip
    bodies = {name: [Pos(*places[name], 0) * PRINTED[name].make()] for name in PRINTED}
    view = drawing.View((0.5, -0.9, 1.1), (0.0, 0.0, 1.0))
    shown = [(name, HOME, f"{name}: {d.LIES[name]}") for name in PRINTED]
    return seen(bodies, "The parts as they are printed", shown, view)


def _shell_inserts(size: str) -> list[Part]:
    """The shell's inserts of a size, each over its hole, above the rim."""
    places = [(x, z) for x, z, screw in columns() if screw == size]
    places += board_posts() if size == "M2.5" else []
    over = assembly.in_shell(d.INNER_Y + 12.0)
    insert = rod(d.INSERT_RADIUS[size], d.INSERT_DEEP[size])
    return [over * Pos(x, along(z), 0) * insert for x, z in places]


def _nose_inserts() -> list[Part]:
    """The nose's inserts, each behind its hole."""
    behind = Pos(0, d.NOSE_Y, d.NOSE_BACK_Z + 10.0)
    insert = rod(d.INSERT_RADIUS["M3"], d.INSERT_DEEP["M3"])
    return [behind * Pos(x, y, 0) * insert for x, y in screw_places()]


def inserts(bodies: fit.Solids) -> drawing.Sheet:
    """Where the inserts go."""
    sized = {size: _shell_inserts(size) for size in d.INSERT_RADIUS}
    aside = (-85.0, 0.0, 40.0)
    shown = [
        ("shell", HOME, "shell"),
        *((size, HOME, f"{len(found)} x {size}") for size, found in sized.items()),
        ("nose", aside, "nose, seen from its back"),
        ("nose inserts", aside, "4 x M3"),
    ]
    return seen({**bodies, **sized, "nose inserts": _nose_inserts()}, "Where the inserts go", shown, ABOVE)


def boards(bodies: fit.Solids) -> drawing.Sheet:
    """The two boards, apart."""
    shown = [
        ("front-end board", HOME, "front-end board"),
        ("controller board", (0.0, 45.0, 0.0), "controller board"),
        ("controller", (0.0, 45.0, 0.0), "controller, USB to the right"),
        ("LEDs", (0.0, 45.0, 0.0), "twelve LEDs"),
    ]
    return seen(bodies, "The two boards", shown)


def in_shell(bodies: fit.Solids) -> drawing.Sheet:
    """The boards over the shell."""
    shown = [
        ("shell", HOME, "shell"),
        ("front-end board", (0.0, 45.0, 0.0), "front-end board on the posts"),
        ("controller board", (0.0, 75.0, 0.0), "controller board on 12 mm spacers"),
        ("controller", (0.0, 75.0, 0.0), ""),
        ("LEDs", (0.0, 75.0, 0.0), ""),
    ]
    return seen(bodies, "The boards go into the shell", shown)


def nose(bodies: fit.Solids) -> drawing.Sheet:
    """Nose and microphone, drawn out along the axis."""
    shown = [
        ("shell", HOME, ""),
        ("nose", (0.0, 0.0, -45.0), "nose, screwed from inside"),
        ("microphone board", (0.0, 0.0, -85.0), "microphone board on foam"),
    ]
    return seen(bodies, "Nose and microphone", shown, BEFORE)


def lid(bodies: fit.Solids) -> drawing.Sheet:
    """What goes into the lid."""
    shown = [
        ("lid", HOME, "lid"),
        ("window", (0.0, 25.0, 0.0), "window"),
        ("READ button", (0.0, -45.0, 0.0), "READ, behind the ridge"),
        ("STEP button", (0.0, -45.0, 0.0), "STEP"),
        ("cap", (0.0, 30.0, 0.0), "caps"),
    ]
    return seen(bodies, "The lid", shown)


def bay(bodies: fit.Solids) -> drawing.Sheet:
    """Cells, beeper and stopper."""
    shown = [
        ("shell", HOME, "shell"),
        ("cells", (0.0, 50.0, 0.0), "cells in their holder"),
        ("door", (0.0, 45.0, 85.0), "cell door, two coin screws"),
        ("beeper", (25.0, 45.0, 0.0), "beeper, behind the slots"),
        ("stopper", (25.0, 0.0, 0.0), "stopper of the USB slot"),
    ]
    return seen(bodies, "Cells and beeper", shown, drawing.View((0.75, 0.85, 1.0)))


def felts(bodies: fit.Solids) -> drawing.Sheet:
    """What goes into the collar."""
    shown = [
        ("felt plug", (0.0, 0.0, 55.0), "plug, in from behind"),
        ("collar", HOME, "collar"),
        ("lining", (0.0, 0.0, -75.0), "lining"),
        ("rim felt", (0.0, 0.0, -95.0), "felt rim"),
    ]
    return seen(bodies, "Felt in the collar", shown, BEFORE)


def bayonet(bodies: fit.Solids) -> drawing.Sheet:
    """The collar before its seat."""
    off = fit.collar_at(PRINTED["collar"].make(), fit.Turn(40.0, 0.0))
    bodies = {**bodies, "collar off": [off]}
    shown = [
        ("collar off", HOME, "on, then a turn to the right until it snaps"),
        ("nose", HOME, "three lugs"),
        ("shell", HOME, ""),
        ("lid", HOME, ""),
    ]
    return seen(bodies, "The collar goes on", shown, drawing.View((-1.0, 0.55, 0.35)))


def _section(bodies: fit.Solids, title: str, plane: Plane, only: Sequence[str] = ()) -> drawing.Sheet:
    sheet = drawing.Sheet(title)
    for name, parts in bodies.items():
        if not only or name in only:
            felt = "felt" in name or name == "lining"
            for part in parts:
                drawing.draw_cut(sheet, part, plane, COLOURS.get(name, FELT if felt else "#eeeeee"))
    return sheet


def section_long(bodies: fit.Solids) -> drawing.Sheet:
    """The probe cut along its middle."""
    sheet = _section(
        bodies, "Section along the middle", Plane(origin=(0, 0, 0), x_dir=(0, 0, -1), z_dir=(1, 0, 0))
    )
    y = d.NOSE_Y
    sheet.label((-d.LED_RADIUS, y), (14.0, y), "bumper")
    sheet.label((-d.PLUG_FRONT_Z - 5, y - 15), (14.0, y - 15), "felt plug")
    sheet.label((-d.END_Z - 0.8, y - 6), (14.0, y - 8), "microphone")
    sheet.label((-d.SEAT_Z, y + 27), (14.0, y + 34), "seat of the collar")
    sheet.label((-d.BAR_Z, d.TOP_Y), (14.0, y + 44), "bar")
    return sheet


def section_bayonet(bodies: fit.Solids) -> drawing.Sheet:
    """The collar cut through its lugs, home."""
    z = d.SEAT_Z - (d.LUG_LOW + d.LUG_HIGH) / 2 - 1.0
    plane = Plane(origin=(0, 0, z), x_dir=(1, 0, 0), z_dir=(0, 0, 1))
    sheet = _section(bodies, "Section through the bayonet", plane, ("collar", "nose", "microphone board"))
    sheet.label((0.0, d.NOSE_Y + d.SOCKET_OUTER_RADIUS - 1), (38.0, d.NOSE_Y + 30), "collar")
    sheet.label((0.0, d.NOSE_Y + 20.0), (38.0, d.NOSE_Y + 20), "nose with three lugs")
    return sheet


PICTURES: dict[str, Callable[[fit.Solids], drawing.Sheet]] = {
    "whole": whole,
    "printed": printed,
    "inserts": inserts,
    "boards": boards,
    "in_shell": in_shell,
    "nose": nose,
    "lid": lid,
    "bay": bay,
    "felts": felts,
    "bayonet": bayonet,
    "section_long": section_long,
    "section_bayonet": section_bayonet,
}


def write(folder: Path = FOLDER) -> Iterator[Path]:
    """Draw every picture into a folder; give the paths as they are done."""
    folder.mkdir(parents=True, exist_ok=True)
    bodies, made_from = fit.solids(), digest()
    for name, draw in PICTURES.items():
        path = folder / f"{name}.svg"
        path.write_text(draw(bodies).svg(made_from), encoding="utf-8")
        yield path
