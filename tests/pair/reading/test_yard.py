"""A small run of the yard benchmark in every test run: `python -m tests.bench.yard --short` is the longer one."""

import json
import os
import subprocess
import sys
from typing import Any

from tests.paths import ROOT

SEED, READINGS = 20, 150


def run_yard() -> dict[str, Any]:
    """The benchmark's JSON line, from a process of its own: it forks, which a test run with threads must not."""
    command = [sys.executable, "-m", "tests.bench.yard", "--json", "--short"]
    command += ["--seed", str(SEED), "--readings", str(READINGS)]
    paths = os.pathsep.join(str(ROOT / room) for room in ("host", "protocol"))
    environment = {**os.environ, "PYTHONPATH": paths}
    done = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.stdout, done.stderr
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def test_no_bad_sensor_passes_and_no_probe_fault_gives_a_verdict() -> None:
    """The full run's bounds are the README's; here, with too few readings for them, not one may break any.

    A sound sensor between two equal neighbours may be RETRY, within its bound: they look like one that fires twice as
    often, and the sensor like one that leaves out every second burst.
    """
    answer = run_yard()
    figures = {figure["name"]: figure for figure in answer["figures"]}
    assert answer["readings"] == READINGS
    assert figures["false_pass"]["of"] > 40 and figures["probe_fault_verdict"]["of"] > 2
    assert [failure for failure in answer["failures"] if failure["bound"] != "healthy_retry"] == []
    assert answer["holds"]
