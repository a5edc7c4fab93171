"""The calibration in force: gains by class and input, measured on a bench and sent whole.

The verdict does not use it: the limits are in dBFS. Readings carry its revision, so that the bench knows which gains
turn their levels into dB SPL.
"""

from curbtick_wire import classes, codec
from curbtick_wire._typing import Values

from curbtick_probe.store.settings.setting import Refused, Revised


def check(calibration: Values) -> None:
    """Raise Refused where a calibration (form of codec.unpack_calibration) contradicts itself."""
    seen = []
    for gain in calibration["gains"]:
        khz = gain["class_khz"]
        if not classes.is_class(khz):
            raise Refused("class_khz", str(khz) + " is no class of this probe")
        key = (khz, gain["input"])
        if key in seen:
            raise Refused("input", "has two gains in class_khz " + str(khz))
        seen.append(key)


class Calibration(Revised):
    """The calibration under root: `current` is a dict of codec.unpack_calibration, empty before the first one came."""

    def __init__(self, root: str) -> None:
        super().__init__(root, "gains", codec.unpack_calibration, check, {})
