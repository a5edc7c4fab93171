"""Where the probe's own sources are: inside an installed package, or in a checkout beside host/."""

from pathlib import Path

from curbtick.errors import MissingProgramError

_PACKAGE = Path(__file__).resolve().parent
_INSTALLED = _PACKAGE / "_device"
_CHECKOUT = _PACKAGE.parent.parent


def _find(name: str, marker: str) -> Path:
    for base in (_INSTALLED, _CHECKOUT):
        if (base / name / marker).is_file():
            return base / name
    raise MissingProgramError(
        f"The probe's {name} sources are not in this installation.",
        "Nothing was read or written.",
        "Install curbtick again (pip install --force-reinstall curbtick), or run it from a full checkout.",
    )


def firmware_folder() -> Path:
    """Return the folder that holds main.py and the package curbtick_probe."""
    return _find("firmware", "main.py")


def demo_data_folder() -> Path:
    """Return the folder of the invented depot."""
    return _find("demo_data", "depot.json")


def protocol_folder() -> Path:
    """Return the folder that holds the package curbtick_wire."""
    return _find("protocol", "curbtick_wire/__init__.py")
