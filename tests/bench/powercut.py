"""Power cuts: the firmware's log, limits, rounds, keys and boot id on MicroPython's littlefs over flash that tears.

    python -m tests.bench.powercut [--short] [--seed N] [--json] [--id ID]

Four sessions (tests/faults/powercut/session.py): the first start of a device, at which its log's id is drawn; a day of
44 readings with limits, rounds and an acknowledgement; a small device read until it is full; a worn device on which
littlefs moves a pair of sectors; the second and third once more with files stamped with the time, as a board mounts its
littlefs. Each is cut at flash operations (those of the first start, of the day and of the worn device at every one) in
every mode, restarted, held against what had been promised, worked on, and cut once more while it does so.
"""

import json
import subprocess
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from tests.bench import _common
from tests.paths import ROOT

HEAP = "heapsize=96M"
FAULTS = ROOT / "tests" / "faults"
# The bound of the full form; a short one tries a part of the operations.
CUTS_MIN = {False: 5000, True: 200}
# session: (every so many operations in the full form, in the short form)
STRIDES = {
    "first": (1, 1),
    "day": (1, 61),
    "full": (2, 149),
    "old": (1, 13),
    "stamped": (5, 199),
    "stamped_full": (9, 499),
}
SHARDS = 2


def run_main(*arguments: str) -> dict[str, Any]:
    """The report of one run of powercut/main.py."""
    command = [*_common.micropython_command(), "-X", HEAP, "-m", "powercut.main", *arguments]
    ran = subprocess.run(
        command,
        cwd=FAULTS,
        env=_common.micropython_environment(),
        capture_output=True,
        text=True,
        check=False,
    )
    if ran.returncode:
        raise RuntimeError(
            f"{' '.join(arguments)} ended with {ran.returncode}: {ran.stdout[-500:]}{ran.stderr[-500:]}"
        )
    report: dict[str, Any] = json.loads(ran.stdout.splitlines()[-1])
    return report


def run_all(seed: int, short: bool) -> list[dict[str, Any]]:
    """The reports of all sessions and shards, two at a time."""
    jobs = [
        (name, str(seed), str(strides[short]), f"{shard}/{SHARDS}")
        for name, strides in STRIDES.items()
        for shard in range(SHARDS)
    ]
    with ThreadPoolExecutor(max_workers=2) as pool:
        return list(pool.map(lambda job: run_main(*job), jobs))


def figures(reports: list[dict[str, Any]], cuts_min: int) -> list[dict[str, Any]]:
    """The figures beside their bounds."""
    cuts = sum(report["cuts"] for report in reports)
    second = sum(report["second_cuts"] for report in reports)
    violations = sum(report["violation_count"] for report in reports)
    rewrites = sum(report["rewrites"] for report in reports)
    return [
        _common.figure("first_cuts", cuts, f">= {cuts_min}", cuts >= cuts_min),
        _common.figure("second_cuts", second, f">= {cuts_min}", second >= cuts_min),
        _common.figure("violations", violations, "== 0", violations == 0),
        _common.figure("pages_programmed_over_cleared_bits", rewrites, "== 0", rewrites == 0),
    ]


def main() -> None:
    """Run the benchmark, or one cut by its id."""
    options = _common.arguments(__doc__, ("--id", {"help": "replay one cut, such as day@120:subset:9"}))
    reports = [run_main(options.id)] if options.id else run_all(options.seed, options.short)
    cuts_min = 1 if options.id else CUTS_MIN[options.short]
    found = [violation for report in reports for violation in report["violations"]]
    sessions = {report["session"]: report["operations"] for report in reports}
    _common.report(figures(reports, cuts_min), options, operations=sessions, violations=found)


if __name__ == "__main__":
    main()
