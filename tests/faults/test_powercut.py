"""The storage on flash that tears: one contract on every double, and a part of the power-cut campaign."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench import _common
from tests.bench import powercut as bench

FAULTS = Path(__file__).parent
sys.path.insert(0, str(FAULTS))

from powercut import contract  # noqa: E402


def _micropython(program: str, *arguments: str) -> list[str]:
    """What a program of `powercut` prints on MicroPython, word by word."""
    ran = subprocess.run(
        [*_common.micropython_command(), "-X", bench.HEAP, "-m", f"powercut.{program}", *arguments],
        cwd=FAULTS,
        env=_common.micropython_environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout.split()


@pytest.mark.parametrize("double", ["PlainFlash", "TornFlash", "FlashDisk", "folder"])
def test_the_log_does_the_same_on_every_double(double: str, tmp_path: Path) -> None:
    if double == "folder":
        for case in contract.LOG_CASES:
            (tmp_path / f"{case.__name__}0").mkdir()
    rounds = 1 if double == "folder" else 2
    cases = (*contract.cases_of(double), *contract.LOG_CASES * rounds)
    expected = [case.__name__ for case in cases]
    assert _micropython("contract", double, str(tmp_path)) == expected


def test_a_journal_cut_is_what_a_real_cut_leaves() -> None:
    assert _micropython("really")[-1] == "same"


def test_a_short_campaign_has_no_violation() -> None:
    reports = bench.run_all(seed=3, short=True)
    assert sum(report["cuts"] for report in reports) >= bench.CUTS_MIN[True]
    assert [violation for report in reports for violation in report["violations"]] == []


def test_a_cut_is_replayed_by_its_id() -> None:
    report = bench.run_main("day@500:subset:12345")
    assert (report["cuts"], report["second_cuts"], report["violation_count"]) == (1, 1, 0)


def test_the_campaign_sees_a_log_that_breaks_its_word() -> None:
    assert _micropython("really", "broken")[-1] == "seen"
