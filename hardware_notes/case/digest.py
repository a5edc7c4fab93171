"""What the pictures were drawn from, as a digest: the dimensions and the programs that make solids and drawings."""

import hashlib
from pathlib import Path

from curbtick.hardware import microphones

FOLDER = Path(__file__).resolve().parent
SOURCES = (
    FOLDER.parent / "collar" / "geometry.py",
    FOLDER.parent / "board" / "footprints.py",
    Path(microphones.__file__),
    *(
        FOLDER / f"{name}.py"
        for name in (
            *("dimensions", "shapes", "collar", "nose", "shell", "covers"),
            *("assembly", "bought", "drawing", "pictures"),
        )
    ),
)


def digest() -> str:
    """The first 16 hex digits of the SHA-256 of the sources, in order."""
    whole = hashlib.sha256()
    for path in SOURCES:
        whole.update(path.read_text(encoding="utf-8").encode())
    return whole.hexdigest()[:16]
