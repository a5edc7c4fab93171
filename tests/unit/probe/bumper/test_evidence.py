"""What was found of the same sounds is not sought again; what came since, or is of another reading, is."""

from collections.abc import Callable
from typing import Any

import pytest
from curbtick_probe.bumper.trains import cycle, siblings, train

from tests.unit.probe.bumper.readingdata import (
    LISTENED_US,
    PLACES,
    Sound,
    every,
    faint,
    filled,
    limits_of,
    part_of,
    train_of,
)

HELD = every(200_000) + faint(200_000, 100_000)
SILENT = faint(200_000, 100_000) + faint(200_000, 150_000)
SECOND = [sound for i, sound in enumerate(every(100_000)) if i % 5 not in (1, 4)]


@pytest.fixture
def sought(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the parts of the evidence that were sought, one for each time."""
    times: list[str] = []

    def counted(name: str, find: Callable[..., Any]) -> Callable[..., Any]:
        def found(*given: Any) -> Any:
            times.append(name)
            return find(*given)

        return found

    for name, module in (("held", train), ("cycle", cycle), ("faint", siblings)):
        monkeypatch.setattr(module, "find", counted(name, module.find))
    return times


def evidence() -> Any:
    """Evidence of nothing yet."""
    from curbtick_probe.bumper.trains.evidence import Evidence

    return Evidence()


def found_by(heard: Any) -> dict[str, Any]:
    """What evidence says, by PLACES."""
    return {name: getattr(part_of(heard, part), field) for name, part, field in PLACES}


def looked(heard: Any, sounds: Any, listened_us: int) -> None:
    """Every look that a reading takes while it listens."""
    heard.find_held(sounds, listened_us)
    heard.find_cycle(sounds, listened_us)
    heard.look_faintly(sounds, listened_us)


@pytest.mark.parametrize("heard_sounds", [HELD, SILENT, SECOND], ids=["held", "silent", "loose"])
@pytest.mark.parametrize("later", [0, 8192], ids=["at once", "a step later"])
def test_looks_before_leave_the_evidence_as_without_them(heard_sounds: list[Sound], later: int) -> None:
    sounds, heard = filled(heard_sounds), evidence()
    looked(heard, sounds, LISTENED_US - later)
    heard.sort(sounds, limits_of(), LISTENED_US)
    alone = train_of(heard_sounds)
    assert found_by(heard) == found_by(alone.heard)
    assert list(sounds.kind[: sounds.count]) == alone.kinds


def test_the_same_sounds_are_not_sought_again(sought: list[str]) -> None:
    sounds, heard = filled(HELD), evidence()
    heard.find_held(sounds, LISTENED_US)
    heard.find_cycle(sounds, LISTENED_US)
    heard.sort(sounds, limits_of(), LISTENED_US)
    assert sought == ["held", "cycle", "faint"]


def test_siblings_that_no_train_was_held_beside_are_not_sought_again(sought: list[str]) -> None:
    sounds, heard = filled(SILENT), evidence()
    looked(heard, sounds, LISTENED_US)
    heard.sort(sounds, limits_of(), LISTENED_US)
    assert (heard.train.count, sought.count("faint")) == (0, 1)


def test_a_sound_that_came_since_is_taken_in() -> None:
    heard = evidence()
    heard.find_held(filled(HELD[:3]), LISTENED_US)
    heard.find_cycle(filled(HELD[:3]), LISTENED_US)
    heard.sort(filled(HELD), limits_of(), LISTENED_US)
    assert found_by(heard) == found_by(train_of(HELD).heard)


def test_another_reading_of_as_many_sounds_begins_anew() -> None:
    heard = evidence()
    heard.sort(filled(every(200_000)), limits_of(), LISTENED_US)
    fainter = every(200_000, level_cdb=-2200)
    heard.sort(filled(fainter), limits_of(), LISTENED_US)
    assert heard.train.level_cdb == -800, "without forget() the last reading's train stands"
    heard.forget()
    heard.sort(filled(fainter), limits_of(), LISTENED_US)
    assert heard.train.level_cdb == -2200
