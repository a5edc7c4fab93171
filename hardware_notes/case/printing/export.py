"""The printed parts as files."""

from collections.abc import Iterator
from pathlib import Path

from build123d import Part, export_step, export_stl

from hardware_notes.case.assembly import PRINTED

# How far the mesh may leave the solid, in mm and radians: a tenth of what a printer can show.
CHORD_MM, TURN_RAD = 0.02, 0.15


def write_stl(part: Part, path: Path) -> Path:
    """Write a solid's mesh; return the path. Raises OSError when it cannot be written."""
    if not export_stl(part, str(path), tolerance=CHORD_MM, angular_tolerance=TURN_RAD):
        raise OSError(f"{path} could not be written: is the folder there, and is there room?")
    return path


def write(folder: Path) -> Iterator[Path]:
    """Write an STL and a STEP file for each printed part; give the paths as they are done."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, printed in PRINTED.items():
        part = printed.make()
        yield write_stl(part, folder / f"{name}.stl")
        export_step(part, str(folder / f"{name}.step"))
        yield folder / f"{name}.step"
