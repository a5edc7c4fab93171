"""Judging, counting, and the command that does both."""

import contextlib
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from tests.bench.otheryard import __main__ as command
from tests.bench.otheryard import run, show, truth
from tests.bench.otheryard.catalog import BUMPER, CHECKS, bumper_scene
from tests.bench.otheryard.rates import (
    BUMPER_BOUNDS,
    LISTEN_BOUNDS,
    Rates,
    Tally,
    bumper_events,
    listen_events,
)
from tests.bench.otheryard.seal.walk import LEAK, ONLY_RETRY, TIGHT
from tests.bench.otheryard.truth import DEAD, FAULTY_PROBE, NOTHING_TRANSMITS, by_level, judge


@pytest.mark.parametrize(
    ("level_dbfs", "words"),
    [
        (-8.0, {"pass": truth.RIGHT, "weak": truth.WRONG, "dead": truth.FALSE_DEAD, "retry": truth.REFUSED}),
        (
            -25.0,
            {"pass": truth.FALSE_PASS, "weak": truth.RIGHT, "dead": truth.FALSE_DEAD, "retry": truth.REFUSED},
        ),
        (
            -45.0,
            {"pass": truth.FALSE_PASS, "weak": truth.WRONG, "dead": truth.RIGHT, "retry": truth.ACCEPTED},
        ),
    ],
)
def test_a_level_decides_by_the_default_limits(level_dbfs: float, words: dict[str, str]) -> None:
    judged = by_level(level_dbfs, 48e3, 48)
    assert {word: judge(judged, word) for word in words} == words


@pytest.mark.parametrize(
    ("judged", "word", "expected"),
    [
        (NOTHING_TRANSMITS, "dead", truth.FALSE_DEAD),
        (NOTHING_TRANSMITS, "pass", truth.FALSE_PASS),
        (NOTHING_TRANSMITS, "weak", truth.WRONG),
        (NOTHING_TRANSMITS, "retry", truth.RIGHT),
        (DEAD, "retry", truth.ACCEPTED),
        (DEAD, "pass", truth.FALSE_PASS),
        (FAULTY_PROBE, "weak", truth.FAULT_JUDGED),
        (LEAK, "tight", truth.MISSED),
        (LEAK, "retry", truth.REFUSED),
        (TIGHT, "leak", truth.FALSE_ALARM),
        (ONLY_RETRY, "tight", truth.CALM),
        (ONLY_RETRY, "leak", truth.FALSE_ALARM),
    ],
)
def test_judgements(judged: truth.Truth, word: str, expected: str) -> None:
    assert judge(judged, word) == expected


def test_intervals_are_those_of_newcombe() -> None:
    """Wilson 95 % (Newcombe 1998): 81/263 up to .3662; 0/20 up to .1611; 1/29 up to .1718."""
    assert [Tally(*counts).upper() for counts in ((81, 263), (0, 20), (1, 29))] == pytest.approx(
        [0.3662, 0.1611, 0.1718], abs=1e-4
    )


def test_a_rate_over_its_bound_does_not_hold() -> None:
    rates = Rates(BUMPER_BOUNDS, bumper_events)
    for _ in range(5000):
        rates.add("silence", NOTHING_TRANSMITS, "retry")
    assert {f["holds"] for f in rates.figures() if f["name"] == "false dead where nothing transmits"} == {
        True
    }
    for _ in range(3):
        rates.add("silence", NOTHING_TRANSMITS, "dead")
    assert {f["holds"] for f in rates.figures() if f["name"] == "false dead where nothing transmits"} == {
        False
    }


def test_a_kind_far_over_a_bound_is_named() -> None:
    rates = Rates(LISTEN_BOUNDS, listen_events)
    for n in range(300):
        rates.add("pinhole", LEAK, "tight" if n < 40 else "leak")
    assert rates.kinds_beyond() == ["pinhole: missed 40 of 300"]


def test_apart_counts_for_false_verdicts_only() -> None:
    apart = by_level(-8.0, 48e3, 48, apart="why")
    assert bumper_events(apart, "dead") == {"false dead of all not dead": True}


@contextlib.contextmanager
def perfect() -> Iterator[Any]:
    """A probe that knows the truth."""
    yield lambda scene: {"verdict": sorted(scene.truth.best)[0]}


@contextlib.contextmanager
def optimist() -> Iterator[Any]:
    """A probe that always says PASS, as the number that travels."""
    yield lambda scene: {"verdict": 1}


@contextlib.contextmanager
def listener() -> Iterator[Any]:
    """One that knows the truth of sections."""
    yield lambda story: [sorted(each.best)[0] for each in story.truths]


def last_line(captured: str) -> dict[str, Any]:
    """The JSON object that a benchmark ends with."""
    return json.loads(captured.strip().splitlines()[-1])


def test_the_command_lists_every_kind(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(show, "LIST_DRAWS", 1)
    command.main(["--list"])
    shown = capsys.readouterr().out
    for kinds, _ in CHECKS.values():
        assert all(f"  {name}: {kind.line}" in shown for name, kind in kinds.items())


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("--json --runner no.such:thing", "no runner no.such"),
        ("--kinds in_turn,nothing", "no kind nothing"),
        ("--replay nothing:1:2", "no kind nothing"),
        ("--replay in_turn:1", "KIND:SEED:INDEX"),
    ],
)
def test_the_command_says_what_it_cannot_do(line: str, word: str) -> None:
    with pytest.raises(SystemExit) as left:
        command.main(line.split())
    assert word in str(left.value.code)


OPTIMIST = "--runner tests.unit.otheryard.test_truth:optimist"


def test_an_optimist_fails_and_is_replayed_by_its_place(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        command.main(f"--only bumper --rounds 1 --seed 5 --json {OPTIMIST}".split())
    said = last_line(capsys.readouterr().out)
    assert left.value.code == 1 and not said["holds"] and said["seed"] == 5
    wrong, _, readings = said["figures"][0]["counted"].split()
    assert wrong == readings != "0"
    assert said["bumper"]["kinds"]["dead"]["rates"]["false pass of all that must not pass"][:2] == [1, 1]
    place = said["bumper"]["failures"][0].split()[1]
    command.main(f"--replay {place} {OPTIMIST}".split())
    assert "said: PASS  -> false_pass" in capsys.readouterr().out


def test_a_short_run_is_held_to_the_share_itself() -> None:
    rates = Rates(BUMPER_BOUNDS, bumper_events)
    for word in ("retry", "retry", "dead"):
        rates.add("silence", NOTHING_TRANSMITS, word)
    wrong = next(f for f in rates.figures(short=True) if f["name"] == "false dead where nothing transmits")
    assert wrong["value"] == pytest.approx(1 / 3, abs=1e-4) and not wrong["holds"]
    right = next(f for f in rates.figures(short=True) if f["name"].startswith("false pass"))
    assert right["value"] == 0 and right["holds"] and right["wilson_upper"] == pytest.approx(0.5615, abs=1e-3)


def test_a_scene_does_not_depend_on_the_other_kinds() -> None:
    scene = run.scene_of("bumper", "weak", 3, 7)
    again = bumper_scene(3, 7, "weak")
    assert scene.truth == again.truth and (scene.kind, scene.seed, scene.index) == ("weak", 3, 7)
    assert np.array_equal(scene.read(1024, 0, 0), again.read(1024, 0, 0))


def count_rightly(rates: Rates, check: str, scene: Any, read: Any) -> None:
    """Have a scene heard by one who knows the truth, and count it."""
    for said in run.hear(check, scene, read):
        assert rates.add(said.kind, said.truth, said.word) in (truth.RIGHT, truth.ACCEPTED)


def test_a_perfect_probe_makes_no_mistake() -> None:
    rates = Rates(BUMPER_BOUNDS, bumper_events)
    with perfect() as read:
        for index in range(len(BUMPER)):
            count_rightly(rates, "bumper", bumper_scene(8, index), read)
    assert all(tally.wrong == 0 for tally in rates.totals.values())
    assert set(rates.totals) >= {bound.name for bound in BUMPER_BOUNDS}


def test_a_perfect_listener_makes_no_mistake() -> None:
    for check in ("seal", "hiss"):
        kinds, make = CHECKS[check]
        rates = Rates(LISTEN_BOUNDS, listen_events)
        with listener() as read:
            for index in range(len(kinds)):
                count_rightly(rates, check, make(8, index), read)
        assert set(rates.totals) == {bound.name for bound in LISTEN_BOUNDS}
