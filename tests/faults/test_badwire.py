"""Sessions over a wire that damages them, in any order of deeds that Hypothesis can think of."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from tests.faults.badwire.world import World

GAPS = st.sampled_from([0, 40, 150, 400, 1000, 4000])
TROUBLES = st.sampled_from(["", "", "kill", "unplug", "power"])
SENDS = st.sampled_from(["", "limits", "round"])


class BadWireMachine(RuleBasedStateMachine):
    """A probe, a bench and a bad wire. `totals`, `damage_done`: counted over all runs; `first_failure`: of them."""

    totals = {"sessions": 0, "killed": 0, "failed": 0, "records": 0}
    damage_done: dict[str, int] = {}
    first_failure: Exception | None = None

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Remember the first exception that a deed ends with."""
        try:
            yield
        except Exception as found:
            BadWireMachine.first_failure = BadWireMachine.first_failure or found
            raise

    @initialize(seed=st.integers(0, 2**32))
    def switch_on(self, seed: int) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.world = World(Path(self.folder.name), seed)

    @rule(count=st.integers(1, 12))
    def take_readings(self, count: int) -> None:
        self.world.take_readings(count)

    @rule(send=SENDS, gap=GAPS, trouble=TROUBLES)
    def session(self, send: str, gap: int, trouble: str) -> None:
        with self.noting():
            self.world.session(send=send, mean_gap_bytes=gap, trouble=trouble)

    @rule(count=st.integers(1, 12), gap=GAPS, trouble=TROUBLES)
    def readings_then_session(self, count: int, gap: int, trouble: str) -> None:
        self.world.take_readings(count)
        with self.noting():
            self.world.session(send="", mean_gap_bytes=gap, trouble=trouble)

    @rule()
    def reboot(self) -> None:
        self.world.reboot()

    @invariant()
    def probe_is_alive(self) -> None:
        if hasattr(self, "world"):
            assert self.world.probe.tell("wants_self_test") == "False"

    def teardown(self) -> None:
        if not hasattr(self, "world"):
            return
        try:
            with self.noting():
                self.totals["records"] += self.world.finish()
        finally:
            for name in ("sessions", "killed", "failed"):
                self.totals[name] += getattr(self.world, name)
            for name, count in self.world.damage_done.items():
                self.damage_done[name] = self.damage_done.get(name, 0) + count
            self.world.close()
            self.folder.cleanup()


BadWireMachine.TestCase.settings = settings(
    max_examples=3,
    stateful_step_count=10,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestBadWire = BadWireMachine.TestCase
