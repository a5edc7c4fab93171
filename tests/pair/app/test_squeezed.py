"""The firmware as it is made small for a chip does what its sources do: tests of the whole probe, once more.

MicroPython's unix port runs the squeezed and compiled modules with the virtual board.
"""

from pathlib import Path

import pytest
from curbtick.device import firmware_folder
from curbtick.install import image
from curbtick.virtual.probe import process

from tests.pair.app.bench import Bench, bench
from tests.pair.app.test_app import (
    test_after_the_last_position_comes_the_bumper_result,
    test_pairing_needs_step_at_power_up,
    test_silence_among_sensors_that_transmit_is_dead,
    test_the_self_test_gesture_logs_a_test,
    test_without_a_round_positions_count_up_and_any_class_will_do,
)
from tests.pair.app.test_checks import (
    test_a_hiss_check_from_background_to_mark,
    test_a_seal_check_from_reference_to_confirmed_sections,
    test_checks_change_round_and_a_reading_still_finds_its_room,
)

__all__ = [
    "bench",
    "test_a_hiss_check_from_background_to_mark",
    "test_a_seal_check_from_reference_to_confirmed_sections",
    "test_after_the_last_position_comes_the_bumper_result",
    "test_checks_change_round_and_a_reading_still_finds_its_room",
    "test_pairing_needs_step_at_power_up",
    "test_silence_among_sensors_that_transmit_is_dead",
    "test_the_self_test_gesture_logs_a_test",
    "test_without_a_round_positions_count_up_and_any_class_will_do",
]

REAL = "curbtick_probe/board/rp2/"
# What `python -m` starts on the virtual board, from outside the program.
RUNNER = "curbtick_probe/virtual/run.py"
VIRTUAL = ("curbtick_probe/board/virtual", "curbtick_probe/virtual")


@pytest.fixture(scope="module")
def squeezed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of the squeezed firmware with the virtual board in the real one's place."""
    sources = {path: source for path, source in image.sources().items() if not path.startswith(REAL)}
    for source in (file for room in VIRTUAL for file in (firmware_folder() / room).glob("*.py")):
        path = source.relative_to(firmware_folder()).with_suffix("").as_posix()
        if f"{path}.py" != RUNNER:
            sources[path] = source
    folder = tmp_path_factory.mktemp("squeezed")
    for path, data in image.compiled(sources, "x64").items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    (folder / RUNNER).parent.mkdir()
    (folder / RUNNER).write_text((firmware_folder() / RUNNER).read_text())
    return folder


@pytest.fixture(autouse=True)
def run_squeezed(squeezed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process, "firmware_folder", lambda: squeezed)
    monkeypatch.setattr(process, "protocol_folder", lambda: squeezed)


def test_the_squeezed_firmware_is_what_runs(bench: Bench, squeezed: Path) -> None:
    assert not (squeezed / "curbtick_wire").exists()
    assert bench.probe.running and str(squeezed) in str(bench.probe._command)
