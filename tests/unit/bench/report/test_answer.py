"""The sentence that a reading's page begins with: the figure that decided, beside its limit."""

from pathlib import Path
from typing import Any

import pytest
from curbtick.fleet import readings
from curbtick.limits import sets
from curbtick.report.drawings.sounds import timeline
from curbtick.report.views.answer import HEARS, answer
from curbtick.store.history import Store
from curbtick_wire import names

from tests.unit.bench.benchdata import NOON_MS, Logbook, add_round, add_vehicle

LIMITS = sets.for_class(sets.factory(), 58)


def told(folder: Path, verdict: str, *reasons: str, **values: Any) -> str:
    """The sentence about a reading of a 58 kHz sensor with these values."""
    mask = names.mask_of(names.REASONS, reasons)
    folder.mkdir(exist_ok=True)
    with Store(folder / "h.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1", class_khz=58)])
        fields = {"round_id": 1, "class_khz": 58, "verdict": names.VERDICTS.index(verdict), "reasons": mask}
        Logbook(store).visit(NOON_MS, {**fields, "frequency_hz": 58_000, **values})
        with store.read() as connection:
            (reading,) = readings.between(connection, 0, NOON_MS * 2)
    return answer(reading, verdict, reasons, LIMITS)


def test_a_pass_says_what_it_is_worth_and_what_it_cannot_say(tmp_path: Path) -> None:
    said = told(tmp_path, "pass", burst_count=7, due_count=7, level_cdb=-800)
    above_db = -8 - LIMITS["pass_cdb"] / 100
    assert (
        said
        == f"It sends as it should: 58.0 kHz, 7 of 7 bursts, {above_db:.1f} dB above the PASS limit. {HEARS}"
    )


def test_another_class_s_frequency_is_named(tmp_path: Path) -> None:
    said = told(tmp_path, "weak", "off_frequency", frequency_hz=47_600)
    assert said == "It sends, but at 47.6 kHz, and its class is 58 kHz: the frequency of a 48 kHz sensor."


def test_a_frequency_between_the_classes_is_no_other_class_s(tmp_path: Path) -> None:
    """Above the window of 68 kHz there is none: 75.5 kHz is nearest to it all the same."""
    said = told(tmp_path, "weak", "off_frequency", frequency_hz=75_500)
    assert said == "It sends, but at 75.5 kHz, and its class is 58 kHz."


@pytest.mark.parametrize(
    ("verdict", "reason", "values", "words"),
    [
        ("weak", "low_level", {"level_cdb": LIMITS["pass_cdb"] - 310}, "but 3.1 dB below the PASS limit"),
        ("dead", "low_level", {"level_cdb": LIMITS["dead_cdb"] - 250}, "but 2.5 dB below the DEAD limit"),
        ("weak", "irregular", {"burst_count": 4, "due_count": 7}, "but only 4 of 7 bursts came"),
        (
            "weak",
            "odd_ringdown",
            {"ringdown_us": 3100},
            "but it rings on for 3.10 ms, where 0.06 to 2.50 ms is usual",
        ),
        ("weak", "below_siblings", {}, "well below the others on its bumper"),
    ],
)
def test_a_fault_stands_beside_its_limit(
    tmp_path: Path, verdict: str, reason: str, values: dict[str, int], words: str
) -> None:
    assert told(tmp_path, verdict, reason, **values) == f"It sends, {words}."


def test_silence_and_doubt_are_not_called_sending(tmp_path: Path) -> None:
    assert "Nothing was heard of this sensor" in told(tmp_path / "a", "dead", "only_neighbour")
    assert "Nothing was heard of this sensor" in told(tmp_path / "b", "dead", "nothing_heard")
    assert told(tmp_path / "c", "retry", "noisy") == "No verdict: too noisy to tell. Read it again."


def test_whose_a_sound_was_is_told_by_shape() -> None:
    sounds = [
        {"time_ms": 10.0 * n, "level_db": -10.0, "kind": kind} for n, kind in enumerate(names.SOUND_KINDS)
    ]
    drawn = str(timeline(sounds, -17.0, None))
    assert 'aria-label="Sounds over the reading: 1 held, 1 sibling, 1 echo, 1 other"' in drawn
    assert (
        drawn.count('class="held"') == drawn.count('class="ring"') == 1 and drawn.count('class="cross"') == 2
    )
    assert "pass_db" in drawn and "dead_db" not in drawn
    assert "none" in str(timeline([], None, None))
