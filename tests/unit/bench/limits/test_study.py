"""The repeatability study: planned, filled, evaluated, with whatever is missing said."""

import random
from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.limits import study
from curbtick.limits.study import Run

PARTS = {f"S{n}": "pass" for n in range(6)} | {"S6": "weak", "S7": "weak", "S8": "dead", "S9": "dead"}


def _runs(right: float, seed: int = 1, names: tuple[str, ...] = ("Ann", "Bert", "Cleo")) -> list[Run]:
    rng = random.Random(seed)
    runs = []
    for row in study.plan(names, PARTS, 3, seed):
        good = row["truth"] == "pass"
        verdict = row["truth"] if rng.random() < right else ("weak" if good else "pass")
        level = (-8.0 if good else -25.0) - int(row["part"][1:]) + rng.gauss(0, 0.4)
        runs.append(Run(row["technician"], row["part"], int(row["trial"]), row["truth"], verdict, level))
    return runs


def test_a_plan_holds_every_cell_once_and_is_shuffled_within_trials() -> None:
    rows = study.plan(["Ann", "Bert"], PARTS, 3, 1)
    cells = {(row["technician"], row["part"], row["trial"]) for row in rows}
    assert len(rows) == len(cells) == 2 * 10 * 3
    assert [row["trial"] for row in rows] == ["1"] * 20 + ["2"] * 20 + ["3"] * 20
    assert rows != study.plan(["Ann", "Bert"], PARTS, 3, 2)
    assert rows == study.plan(["Ann", "Bert"], PARTS, 3, 1)


@pytest.mark.parametrize(
    ("names", "parts", "trials"),
    [(["Ann"], PARTS, 3), (["Ann", "Bert"], {"S1": "pass"}, 3), (["Ann", "Bert"], PARTS, 1)],
)
def test_a_study_too_small_is_refused(names: list[str], parts: dict[str, str], trials: int) -> None:
    with pytest.raises(InputError, match="at least 2 technicians"):
        study.plan(names, parts, trials, 1)


def test_a_flawless_study() -> None:
    found = study.evaluate(_runs(1.0))
    for appraiser in found.appraisers:
        assert appraiser.kappa == 1.0
        assert appraiser.effectiveness.value == 1.0
        assert appraiser.miss.value == appraiser.false_alarm.value == 0.0
        assert appraiser.miss.of == 12 and appraiser.false_alarm.of == 18
        assert appraiser.miss.high_share > 0.2
    assert set(found.between.values()) == {1.0}
    assert found.levels is not None and found.levels.repeatability.sigma_db == pytest.approx(0.4, abs=0.12)
    assert list(found.notes) == []


def test_misses_and_false_alarms_are_told_apart() -> None:
    runs = [
        Run("Ann", "A", 1, "dead", "pass", None),
        Run("Ann", "A", 2, "dead", "dead", None),
        Run("Ann", "B", 1, "pass", "weak", None),
        Run("Ann", "B", 2, "pass", "retry", None),
    ]
    found = study.appraise("Ann", runs)
    assert (found.miss.count, found.miss.of) == (1, 2)
    assert (found.false_alarm.count, found.false_alarm.of) == (1, 1)
    assert (found.effectiveness.count, found.effectiveness.of) == (1, 4)


def test_missing_cells_are_handled_and_said() -> None:
    runs = [
        run for run in _runs(1.0) if not (run.technician == "Cleo" and run.part == "S3" and run.trial == 2)
    ]
    silent = [
        Run(r.technician, r.part, r.trial, r.truth, r.verdict, None if r.part == "S9" else r.level_db)
        for r in runs
    ]
    found = study.evaluate(silent, empty_cells=1)
    assert found.levels is not None and found.levels.parts == 8
    assert any("1 cells of the plan are empty" in note for note in found.notes)
    assert any("2 parts lack a level" in note for note in found.notes)


def test_too_few_complete_cells_give_no_components() -> None:
    runs = [run for run in _runs(1.0, names=("Ann", "Bert")) if run.trial == 1]
    found = study.evaluate(runs)
    assert found.levels is None and "too few complete cells for variance components" in found.notes
    with pytest.raises(InputError, match="No run of the study"):
        study.evaluate([])


def test_a_filled_plan_is_read_back_and_a_bad_line_named(tmp_path: Path) -> None:
    path = tmp_path / "study.csv"
    rows = study.plan(["Ann", "Bert"], PARTS, 2, 1)
    rows[0].update(verdict="pass", level_db="-8.25", reading="p-1")
    study.write_plan(rows, path)
    runs, empty = study.read_runs(path)
    assert (len(runs), empty) == (1, 39) and runs[0].level_db == -8.25
    for field, value in (("verdict", "good"), ("level_db", "loud"), ("truth", "")):
        study.write_plan([{**rows[0], field: value}, *rows[1:]], path)
        with pytest.raises(InputError, match="Line 2 .* makes no sense"):
            study.read_runs(path)
    path.write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match="no plan of a study"):
        study.read_runs(path)
    with pytest.raises(InputError, match="cannot be read"):
        study.read_runs(tmp_path / "none.csv")
