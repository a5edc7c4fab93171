"""The second yard through the real firmware: what it says of scenes that leave no doubt, and that it is replayed."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from curbtick.virtual.probe.process import ProbeStoppedError
from curbtick_wire.names import HISS_VERDICTS, SEAL_VERDICTS, VERDICTS

from tests.bench.hearing import firmware
from tests.bench.otheryard import __main__ as command
from tests.bench.otheryard.catalog import bumper_scene, hiss_story, seal_story
from tests.bench.otheryard.scene import Scene


@pytest.fixture(scope="module")
def hear() -> Iterator[Callable[[Any], Any]]:
    """One firmware process for all of them."""
    with firmware.probe() as hearing:
        yield hearing


@pytest.mark.parametrize(("kind", "word"), [("in_turn", "pass"), ("weak", "weak"), ("dead", "dead")])
def test_a_reading_comes_back_with_its_figures(hear: Callable[[Any], Any], kind: str, word: str) -> None:
    scene = bumper_scene(3, 0, kind)
    values = hear(scene)
    assert VERDICTS[values["verdict"]] == word
    if scene.truth.level_dbfs is not None:
        assert values["level_cdb"] / 100 == pytest.approx(scene.truth.level_dbfs, abs=1.0)
        loudest = max(values["sounds"], key=lambda sound: sound["level_dbfs"])
        assert loudest["frequency_hz"] == pytest.approx(scene.truth.frequency_hz, abs=600)
        assert loudest["time_s"] < values["listened_ms"] / 1000


def test_sections_come_back_in_their_order(hear: Callable[[Any], Any]) -> None:
    seal = hear(seal_story(2, 0, "three_sections"))
    assert [SEAL_VERDICTS[values["verdict"]] for values in seal] == ["tight", "leak", "tight"]
    assert hear(seal_story(2, 0, "no_tone")) == [None], "without a reference nothing is marked"
    hiss = hear(hiss_story(2, 0, "steady_leak"))
    assert [HISS_VERDICTS[values["verdict"]] for values in hiss] == ["hiss"]


def test_a_scene_is_heard_alike_again(capsys: pytest.CaptureFixture[str], hear: Callable[[Any], Any]) -> None:
    values = hear(bumper_scene(6, 1, "weak"))
    command.main(["--replay", "weak:6:1"])
    shown = capsys.readouterr().out
    assert f"level_cdb {values['level_cdb']}, frequency_hz {values['frequency_hz']}" in shown
    assert shown.count("  heard ") == len(values["sounds"]) and "  sent " in shown


class Broken(Scene):
    """A scene that cannot be read."""

    def read(self, count: int, input_: int, start_us: int) -> Any:
        """Give nothing."""
        raise FloatingPointError("this scene is broken")


def test_a_scene_that_breaks_is_named() -> None:
    sound = bumper_scene(1, 4, "in_turn")
    with firmware.probe() as hearing, pytest.raises(ProbeStoppedError, match="in_turn:1:4"):
        hearing(Broken(**vars(sound)))
