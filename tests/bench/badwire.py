"""Bad wire: the real firmware and the real bench over a wire that damages, stalls and breaks.

`python -m tests.bench.badwire --json`. Hypothesis strings deeds together (readings, pulls, sends, reboots, unplugging,
a bench killed at any moment); after every session the probe must answer the very first frame, and in the end every
record must stand in the history once, as it was taken.
"""

import time

import hypothesis
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from tests.bench import _common
from tests.faults.badwire_world import Violation
from tests.faults.test_badwire import BadWireMachine

SESSIONS = 2000
SESSIONS_SHORT = 60
_RUNS_AT_ONCE = 10
_STEPS = 20


def run(least: int, seed: int) -> str:
    """Run until at least so many sessions took place: the violation found, or nothing."""
    chosen = settings(
        max_examples=_RUNS_AT_ONCE,
        stateful_step_count=_STEPS,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
        print_blob=False,
    )
    place = 0
    while BadWireMachine.totals["sessions"] < least:
        place += 1
        try:
            run_state_machine_as_test(hypothesis.seed(seed * 1000 + place)(BadWireMachine), settings=chosen)
        except Violation as violation:
            return f"seed {seed * 1000 + place}: {violation}"
    return ""


def main() -> None:
    """Run and report."""
    options = _common.arguments("The real firmware and the real bench over a bad wire.")
    started_s = time.monotonic()
    least = SESSIONS_SHORT if options.short else SESSIONS
    violation = run(least, options.seed)
    totals = BadWireMachine.totals
    figures = [
        _common.figure("sessions", totals["sessions"], f">= {least}", totals["sessions"] >= least),
        _common.figure("violations", int(bool(violation)), "== 0", not violation),
    ]
    more = {"violation": violation, "totals": totals, "damage": BadWireMachine.damage_done}
    _common.report(figures, started_s, **more)


if __name__ == "__main__":
    main()
