"""When a fit is shown but not proposed: the centre it found may be that of worn sensors.

The median takes the majority for healthy. Where most sensors are worn, their level becomes the centre and the
healthy minority is set aside as outliers, above it; the limit that follows would pass what stood WEAK.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from curbtick_wire import names

NOT_PASSING_MAX_SHARE = 0.2
# Of healthy sensors that are normal about their centre, as good as none; but of many, one or two do lie so far.
ABOVE_MAX_SHARE = 0.05
FALL_MAX_DB = 3.0
_LOW_LEVEL = names.mask_of(names.REASONS, ("low_level",))


@dataclass
class Standing:
    """How the sensors of a class stand by their newest PASS, WEAK or DEAD, as the probe judged it.

    low_cdb: levels of those that stand below PASS for their level alone, which another limit could pass.
    """

    sensors: int
    passing: int
    low_cdb: list[int]

    def add(self, verdict: int, reasons: int, level_cdb: int | None) -> None:
        """Count one sensor by its newest reading."""
        self.sensors += 1
        self.passing += verdict == names.PASS
        if verdict != names.PASS and level_cdb is not None and reasons & ~_LOW_LEVEL == 0:
            self.low_cdb.append(level_cdb)

    @property
    def not_passing(self) -> int:
        """Sensors that do not stand at PASS."""
        return self.sensors - self.passing

    def would_pass(self, pass_db: float) -> int:
        """Sensors that do not stand at PASS, and would by this limit."""
        return sum(level >= round(100 * pass_db) for level in self.low_cdb)


def reasons(
    standing: Standing, above: int, heard: int, pass_db: float, in_force_db: float | None
) -> Sequence[str]:
    """Why a class is held back, in words; empty where nothing speaks against it.

    above: of the heard sensors, outliers above the centre; in_force_db: the pass limit so far, None for none.
    """
    words = []
    if standing.not_passing > NOT_PASSING_MAX_SHARE * standing.sensors:
        words.append(
            f"{standing.not_passing} of {standing.sensors} sensors do not stand at PASS, so the centre may be that "
            "of worn ones"
        )
    if above > ABOVE_MAX_SHARE * heard:
        words.append(
            f"{above} of {heard} sensors lie far above the centre, so the healthy ones may be set aside"
        )
    if in_force_db is not None and in_force_db - pass_db > FALL_MAX_DB:
        words.append(
            f"the pass limit would fall {in_force_db - pass_db:.1f} dB below that in force, {in_force_db:.1f} dBFS"
        )
    return words
