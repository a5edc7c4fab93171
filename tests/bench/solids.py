"""Collar and case: meshes that print, parts that fit, a bar that is seen, and what rain does to the level.

`python -m tests.bench.solids --json`. It needs the extra: `pip install '.[solids]'`.
"""

import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.bench import _common

from curbtick.hardware import microphones  # isort: skip

from hardware_notes.case import dimensions as d  # isort: skip
from hardware_notes.case.notes import page, sun  # isort: skip
from hardware_notes.case.__main__ import HOW_TO_GET, missing  # isort: skip
from hardware_notes.collar import geometry, weather  # isort: skip

Figures = list[dict[str, Any]]
BED_MM = 200.0
HELD_G_MOST = 350.0


def _at_most(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f"<= {bound:g}", value <= bound)


def _at_least(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f">= {bound:g}", value >= bound)


def mesh_figures(folder: Path, count: int, seed: int) -> Figures:
    """Each part's STL, read back: closed, in one piece, printable, nowhere too thin, and as large as the solid."""
    from hardware_notes.case import assembly
    from hardware_notes.case.printing import export, mesh

    figures: Figures = []
    for name, printed in assembly.PRINTED.items():
        solid = printed.make()
        found = mesh.load(export.write_stl(solid, folder / f"{name}.stl"))
        figures += [
            _at_most(f"{name}_open_edges", mesh.open_edges(found), 0),
            _at_most(f"{name}_turned_faces", mesh.turned_faces(found), 0),
            _at_most(f"{name}_pieces", mesh.pieces(found), 1),
            _at_most(f"{name}_needs_support_mm2", mesh.steep_mm2(found), 0.0),
            _at_most(f"{name}_steepest_deg", mesh.steepest_deg(found), d.OVERHANG_MAX_DEG),
            _at_least(
                f"{name}_thinnest_wall_mm", mesh.thinnest_wall(found, count, seed).wall_mm, d.WALL_LEAST
            ),
            _at_most(f"{name}_longest_mm", float(found.extents.max()), BED_MM),
            _at_most(f"{name}_volume_gap_share", abs(found.volume / solid.volume - 1.0), 0.005),
        ]
    return figures


def fit_figures() -> Figures:
    """The parts beside each other, and the bayonet's way."""
    from hardware_notes.case import fit

    bodies = fit.solids()
    figures = [_at_most("clashes_mm3", sum(fit.clashes(bodies).values()), 0.0)]
    for one, other, least_mm, _ in fit.GAPS:
        name = f"{one} to {other}_gap_mm".replace(" ", "_").replace("-", "_")
        figures.append(_at_least(name, fit.gap_mm(bodies[one], bodies[other]), least_mm))
    nose = bodies["nose"][0]
    printed_g = (
        sum(part.volume for name in fit.PRINTED for part in bodies[name]) * d.MATERIAL_KG_PER_M3 * 1e-6
    )
    bite_mm3 = fit.detent_bite_mm3(nose)
    collar_box = bodies["collar"][0].bounding_box()
    end_z = min(face.center().Z for face in bodies["nose"][0].faces() if abs(face.normal_at().Z + 1) < 1e-6)
    return [
        *figures,
        _at_most("collar_way_clash_mm3", fit.way_clash_mm3(nose), 0.0),
        _at_least("collar_turned_gap_mm", fit.bayonet_gap_mm(nose), 0.1),
        _at_least("collar_holding_mm3", fit.holding_mm3(nose), 10.0),
        _at_least("collar_detent_bite_mm3", bite_mm3, 0.5),
        _at_most("collar_detent_bite_at_most_mm3", bite_mm3, 3.0),
        _at_most("collar_detents_at_home_mm3", fit.home_detent_mm3(nose), 0.0),
        _at_most("collar_seat_off_mm", abs(collar_box.max.Z - d.SEAT_Z), 0.001),
        _at_most("plug_ring_off_mm", abs(end_z - (geometry.LENGTH_M + geometry.PLUG_M) * d.MM), 0.001),
        _at_most("printed_g", printed_g, HELD_G_MOST),
    ]


def hand_figures() -> Figures:
    """Buttons for gloves, and the bar in the sun."""
    shade = sun.shade()
    return [
        _at_least("button_mm", 2 * d.CAP_RADIUS, d.GLOVE_BUTTON_LEAST),
        _at_least("between_buttons_mm", 2 * (d.BUTTON_X - d.CAP_RADIUS), d.GLOVE_BETWEEN_LEAST),
        _at_least("cap_over_guard_mm", d.CAP_TRAVEL + d.CAP_HIGH - d.GUARD_HIGH, d.CAP_TRAVEL),
        _at_least(
            "contrast_in_the_hoods_shade",
            sun.contrast(sun.LED_ASKED_CD, sun.SKY_LX),
            sun.CONTRAST_SHADE_LEAST,
        ),
        _at_least("contrast_in_full_sun", sun.contrast(sun.LED_ASKED_CD, sun.SUN_LX), sun.CONTRAST_SUN_LEAST),
        _at_least("shade_from_the_nose_deg", shade.from_nose_deg, 60.0),
    ]


def weather_figures() -> Figures:
    """How wet or dusty the plug must be before a sound sensor reads WEAK and before it reads below the dead limit."""
    worst_hz = microphones.CLASSES_HZ[-1]
    weak, dead = (
        weather.saturation_for(page.margin_db(limit, worst_hz), worst_hz)
        for limit in ("pass_cdb", "dead_cdb")
    )
    return [
        _at_least("water_before_weak_g", weather.water_g(weak), 2.0),
        _at_least("water_before_dead_g", weather.water_g(dead), 5.0),
        _at_least("dead_over_weak_water", dead / weak, 1.5),
    ]


def main() -> None:
    asked = _common.arguments(__doc__ or "")
    if missing():
        print(f"{', '.join(missing())} not found: {HOW_TO_GET}", file=sys.stderr)
        sys.exit(2)
    with tempfile.TemporaryDirectory() as folder:
        figures = mesh_figures(Path(folder), 500 if asked.short else 20_000, asked.seed)
    figures += [*fit_figures(), *hand_figures(), *weather_figures()]
    states = {loss.what: [round(db, 1) for db in loss.loss_db] for loss in weather.losses()}
    if not asked.json:
        for entry in figures:
            holds = "ok" if entry["holds"] else "MISSED"
            print(f"{entry['name']:46} {entry['value']:10} {entry['bound']:>10} {holds}")
    _common.report(figures, asked, losses_db=states)


if __name__ == "__main__":
    main()
