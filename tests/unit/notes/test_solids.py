"""Collar and case as solids: the bench holds, and each of its checks sees the fault that it is for.

Needs build123d, trimesh and rtree (`pip install '.[solids]'`). With CURBTICK_SOLIDS set a missing library is a
failure and not a skip.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from hardware_notes.case import dimensions as d
from hardware_notes.case.__main__ import HOW_TO_GET, missing
from tests.paths import ROOT

needs_solids = pytest.mark.skipif(bool(missing()), reason=HOW_TO_GET)


def test_the_libraries_are_there_where_they_are_asked_for() -> None:
    assert not (os.environ.get("CURBTICK_SOLIDS") and missing()), HOW_TO_GET


def test_without_the_libraries_the_commands_say_how_to_get_them(tmp_path: Path) -> None:
    """A folder without packages stands in for a machine that lacks them."""
    for module, *more in (("hardware_notes.case", "--out", str(tmp_path)), ("tests.bench.solids", "--json")):
        hidden = (
            "import importlib.util as u, runpy, sys; found = u.find_spec; "
            "u.find_spec = lambda name, *a: None if name == 'build123d' else found(name, *a); "
            f"sys.argv = ['x', *{more!r}]; runpy.run_module({module!r}, run_name='__main__')"
        )
        path = os.pathsep.join(str(ROOT / room) for room in (".", "host", "protocol"))
        done = subprocess.run(
            [sys.executable, "-c", hidden],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": path},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 2
        assert HOW_TO_GET in done.stderr and "Traceback" not in done.stderr


def test_a_missing_graphics_library_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    from hardware_notes.case import __main__ as command

    monkeypatch.setattr(command, "GRAPHICS", "libnone.so.1")
    assert not sys.platform.startswith("linux") or "libnone.so.1" in command.missing()


@needs_solids
def test_bench_holds() -> None:
    path = os.pathsep.join(str(ROOT / room) for room in (".", "host", "protocol"))
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.solids", "--json", "--short", "--seed", "3"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def _box(x: float, y: float, z: float, low_z: float = 0.0):
    import trimesh

    mesh = trimesh.creation.box((x, y, z))
    mesh.apply_translation((0.0, 0.0, low_z + z / 2))
    return mesh


@needs_solids
def test_a_sound_box_passes_every_mesh_check() -> None:
    from hardware_notes.case.printing import mesh

    box = _box(20.0, 20.0, 2.0)
    assert (mesh.open_edges(box), mesh.turned_faces(box), mesh.pieces(box), mesh.steep_mm2(box)) == (
        0,
        0,
        1,
        0.0,
    )
    assert mesh.thinnest_wall(box, 100, 1).wall_mm == pytest.approx(2.0)


@needs_solids
def test_a_hole_in_the_mesh_is_seen() -> None:
    from hardware_notes.case.printing import mesh

    box = _box(20.0, 20.0, 20.0)
    box.update_faces([False] + [True] * (len(box.faces) - 1))
    assert mesh.open_edges(box) == 3


@needs_solids
def test_a_mesh_turned_inside_out_is_seen() -> None:
    from hardware_notes.case.printing import mesh

    box = _box(20.0, 20.0, 20.0)
    box.invert()
    assert mesh.turned_faces(box) == 1


@needs_solids
def test_a_thin_wall_is_seen_and_placed() -> None:
    import trimesh

    from hardware_notes.case.printing import mesh

    thin = _box(20.0, 20.0, 0.8, low_z=30.0)
    found = mesh.thinnest_wall(trimesh.util.concatenate([_box(20.0, 20.0, 5.0), thin]), 100, 1)
    assert found.wall_mm == pytest.approx(0.8) and found.wall_mm < d.WALL_LEAST
    assert found.at_mm[2] > 29.0


@needs_solids
def test_an_overhang_is_seen_and_so_is_a_loose_piece() -> None:
    import trimesh

    from hardware_notes.case.printing import mesh

    mushroom = trimesh.util.concatenate([_box(10.0, 10.0, 10.0), _box(30.0, 30.0, 3.0, low_z=10.0)])
    assert mesh.steep_mm2(mushroom) == pytest.approx(900.0)
    assert mesh.steepest_deg(mushroom) == pytest.approx(90.0)
    assert mesh.pieces(mushroom) == 2


@needs_solids
@pytest.mark.parametrize(("lean_deg", "needs_support"), [(44.0, False), (46.0, True)])
def test_the_overhang_s_angle_is_the_one_from_upright(lean_deg: float, needs_support: bool) -> None:
    import numpy as np
    import trimesh

    from hardware_notes.case.printing import mesh

    reach = 10.0 * np.tan(np.radians(lean_deg))
    cone = trimesh.creation.cone(radius=reach, height=10.0, sections=720)
    cone.apply_transform(trimesh.transformations.rotation_matrix(np.pi, (1, 0, 0)))
    assert (mesh.steep_mm2(cone) > 1.0) is needs_support


@needs_solids
def test_a_part_printed_the_wrong_way_up_needs_support(tmp_path: Path) -> None:
    import numpy as np
    import trimesh

    from hardware_notes.case import shell
    from hardware_notes.case.printing import export, mesh

    found = mesh.load(export.write_stl(shell.shell(), tmp_path / "shell.stl"))
    found.apply_transform(trimesh.transformations.rotation_matrix(np.pi, (1, 0, 0)))
    assert mesh.steep_mm2(found) > 5000.0


@needs_solids
def test_a_groove_cut_too_deep_leaves_too_thin_a_wall(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hardware_notes.case import collar
    from hardware_notes.case.printing import export, mesh

    monkeypatch.setattr(d, "GROOVE_RADIUS", d.GROOVE_RADIUS + 1.6)
    found = mesh.load(export.write_stl(collar.collar(), tmp_path / "collar.stl"))
    assert mesh.thinnest_wall(found, 200, 1).wall_mm < d.WALL_LEAST


@needs_solids
def test_an_empty_file_is_refused_in_words(tmp_path: Path) -> None:
    from hardware_notes.case.printing import mesh

    path = tmp_path / "empty.stl"
    path.write_text("solid none\nendsolid none\n")
    with pytest.raises(ValueError, match="holds no mesh"):
        mesh.load(path)
