"""The calibration in force: what is refused, what follows what, and that it stays."""

from pathlib import Path
from typing import Any

import pytest
from curbtick_probe.store.settings.calibration import Calibration
from curbtick_probe.store.settings.setting import Refused
from curbtick_wire import codec, messages, settings

GAINS = [
    {"class_khz": 48, "input": 0, "gain_cdb": 12300},
    {"class_khz": 48, "input": 1, "gain_cdb": 13500},
]


def packed(revision: int = 1, gains: list[dict[str, int]] | None = None) -> bytes:
    value: dict[str, Any] = {"revision": revision, "host_time_s": 1795560000, "uncertainty_cdb": 120}
    return codec.pack_calibration({**value, "gains": gains or GAINS})


def test_there_is_none_before_the_first_came(tmp_path: Path) -> None:
    kept = Calibration(str(tmp_path))
    assert (kept.revision, kept.current, kept.data) == (0, {}, b"")


def test_it_stays_over_a_restart(tmp_path: Path) -> None:
    Calibration(str(tmp_path)).put(packed(7))
    again = Calibration(str(tmp_path))
    assert again.revision == 7
    assert again.current["gains"] == GAINS
    assert again.data == packed(7)


@pytest.mark.parametrize(
    ("data", "field", "why"),
    [
        (packed(gains=[GAINS[0], GAINS[0]]), "input", "two gains"),
        (packed(gains=[{**GAINS[0], "class_khz": 41}]), "class_khz", "no class of this probe"),
        (packed(revision=2), "revision", "older than revision 3"),
        (packed(revision=3, gains=GAINS[:1]), "revision", "another one already in force"),
        (packed()[:-1], "gain_cdb", "end before it"),
    ],
)
def test_what_is_refused_changes_nothing(tmp_path: Path, data: bytes, field: str, why: str) -> None:
    kept = Calibration(str(tmp_path))
    kept.put(packed(3))
    with pytest.raises(Refused, match=why) as error:
        kept.put(data)
    assert error.value.field == field
    assert kept.data == packed(3)


def test_the_largest_fits_a_message() -> None:
    gains = [dict(GAINS[0]) for _ in range(settings.GAINS_MAX)]
    assert len(packed(gains=gains)) <= messages.SETTING_MAX
