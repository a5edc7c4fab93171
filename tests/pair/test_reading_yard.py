"""A small run of the yard benchmark in every test run: `python -m tests.bench.yard --short` is the longer one."""

from tests.bench import yard

SEED, READINGS = 20, 150


def test_no_bad_sensor_passes_and_no_probe_fault_gives_a_verdict() -> None:
    """The full run's bounds are the README's; here, with too few readings for them, not one may break any."""
    outcomes = yard.take(SEED, READINGS)
    assert len(outcomes) == READINGS
    table = yard.rates(outcomes)
    assert len(table["false_pass"][0]) > 40 and len(table["probe_fault_verdict"][0]) > 2
    assert yard.failures(outcomes) == []
