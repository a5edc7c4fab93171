"""Bad wire: the real firmware and the real bench over a wire that damages, stalls and breaks.

`python -m tests.bench.badwire --json`. Hypothesis strings deeds together (readings, pulls, sends, reboots,
unplugging, a bench killed at any moment); after every session the probe must answer the very first frame, and in the
end every record must stand in the history once, as it was taken. Most of a session is waiting, so several run at once.
"""

import itertools
import multiprocessing
import sys
import traceback
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import Any

import hypothesis
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.bench import _common
from tests.faults.test_badwire import BadWireMachine

SESSIONS = 2000
SESSIONS_SHORT = 60
_SESSIONS_A_TASK = 40
_RUNS_AT_ONCE = 2
_STEPS = 40
_PROCESSES = 4


def attempt(seed: int) -> str:
    """Let Hypothesis string deeds together by a seed: the violation found, with that seed, or nothing."""
    chosen = settings(
        max_examples=_RUNS_AT_ONCE,
        stateful_step_count=_STEPS,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        print_blob=False,
    )
    BadWireMachine.first_failure = None
    try:
        run_state_machine_as_test(hypothesis.seed(seed)(BadWireMachine), settings=chosen)
    except Exception as found:
        # Hypothesis runs what failed once more, and may complain of the second run instead.
        failures = _single(BadWireMachine.first_failure or found)
        return f"seed {seed}: " + "; ".join(map(_told, failures))
    return ""


def run(least: int, seeds: Iterator[int]) -> dict[str, Any]:
    """Run seeds until at least so many sessions took place or one fails: what was counted, and the violation."""
    totals = BadWireMachine.totals = dict.fromkeys(BadWireMachine.totals, 0)
    damage = BadWireMachine.damage_done = {}
    violation = ""
    while totals["sessions"] < least and not violation:
        violation = attempt(next(seeds))
    return {"violation": violation, "totals": totals, "damage": damage}


def _single(found: Exception) -> list[Exception]:
    """The exceptions that Hypothesis may have put together into one."""
    if not isinstance(found, ExceptionGroup):
        return [found]
    return [one for part in found.exceptions for one in _single(part)]


def _told(found: Exception) -> str:
    """What went wrong and in which deed of the test; a cause stands behind it."""
    where = traceback.extract_tb(found.__traceback__)
    deeds = " < ".join(
        f"{frame.name}:{frame.lineno}" for frame in reversed(where) if "badwire" in frame.filename
    )
    return f"{type(found).__name__} in {deeds}: {found} ({found.__cause__!r})"


def run_all(least: int, seed: int, jobs: int) -> list[dict[str, Any]]:
    """Run tasks in so many processes of their own until at least so many sessions took place."""
    count = -(-least // _SESSIONS_A_TASK)
    found: list[dict[str, Any]] = []
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn")) as pool:
        tasks = [
            pool.submit(run, _SESSIONS_A_TASK, itertools.count((seed * 1000 + task) * 1000 + 1))
            for task in range(count)
        ]
        for task in as_completed(tasks):
            found.append(task.result())
            sys.stderr.write(found[-1]["violation"] + "\n" if found[-1]["violation"] else "")
            sys.stderr.write(f"{_sum(found, 'totals').get('sessions', 0)} sessions\n")
    return found


def _sum(found: list[dict[str, Any]], what: str) -> dict[str, int]:
    """Counts of the same name added up over all tasks."""
    names = {name for task in found for name in task[what]}
    return {name: sum(task[what].get(name, 0) for task in found) for name in sorted(names)}


def main() -> None:
    """Run and report."""
    options = _common.arguments(
        "The real firmware and the real bench over a bad wire.",
        ("--id", {"type": int, "help": "replay the seed of a violation, and nothing else"}),
        ("--jobs", {"type": int, "default": _PROCESSES, "help": "processes at a time"}),
    )
    least = 1 if options.id else SESSIONS_SHORT if options.short else SESSIONS
    found = [run(1, iter([options.id]))] if options.id else run_all(least, options.seed, options.jobs)
    totals = _sum(found, "totals")
    violations = [task["violation"] for task in found if task["violation"]]
    figures = [
        _common.figure("sessions", totals["sessions"], f">= {least}", totals["sessions"] >= least),
        _common.figure("violations", len(violations), "== 0", not violations),
    ]
    _common.report(figures, options, violations=violations, totals=totals, damage=_sum(found, "damage"))


if __name__ == "__main__":
    main()
