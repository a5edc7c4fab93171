"""Writes the printed parts: `python -m hardware_notes.case --out FOLDER`, an STL and a STEP file for each.

With `--pictures` it also draws the pictures of the notes again.
"""

import argparse
import ctypes
import importlib.util
import sys
from pathlib import Path

HOW_TO_GET = (
    "the solids need build123d, trimesh and rtree: pip install '.[solids]' "
    "(a bare Debian also needs its package libgl1), then run this again"
)
# The CAD kernel is linked with it on Linux, though nothing is shown.
GRAPHICS = "libGL.so.1"


def _has_graphics() -> bool:
    try:
        ctypes.CDLL(GRAPHICS)
    except OSError:
        return False
    return True


def missing() -> list[str]:
    """The libraries that the solids need and that are not installed."""
    packages = ("build123d", "trimesh", "rtree")
    found = [name for name in packages if importlib.util.find_spec(name) is None]
    return found if not sys.platform.startswith("linux") or _has_graphics() else [*found, GRAPHICS]


def main() -> None:
    """Write what was asked for; exit code 2 without the libraries."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--out", type=Path, help="folder of the STL and STEP files; made when it is not there"
    )
    parser.add_argument("--pictures", action="store_true", help="draw the pictures of hardware_notes again")
    asked = parser.parse_args()
    if missing():
        print(f"{', '.join(missing())} not found: {HOW_TO_GET}", file=sys.stderr)
        sys.exit(2)
    if asked.out is None and not asked.pictures:
        parser.error("say --out FOLDER or --pictures")
    if asked.out is not None:
        from hardware_notes.case.printing import export

        for path in export.write(asked.out):
            print(path)
    if asked.pictures:
        from hardware_notes.case import pictures

        for path in pictures.write():
            print(path)


if __name__ == "__main__":
    main()
