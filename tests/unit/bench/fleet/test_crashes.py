"""What the page of probes says of a probe that stopped of itself."""

from pathlib import Path

from curbtick.fleet.probes import health
from curbtick.store.history import Store
from curbtick_wire import names, records

from tests.unit.bench.benchdata import NOON_MS, PROBE, reading, record


def crash(seq: int, cause: int, where: bytes = b"", crash_boot: int = 0) -> bytes:
    values = {"crash_boot": crash_boot, "crash_ticks_ms": 9000, "cause": cause}
    return record(records.CRASH, seq, values, boot=5, tail=where)


def test_the_newest_crash_comes_first_with_its_cause_and_place(tmp_path: Path) -> None:
    watchdog = names.CRASHES.index("watchdog")
    with Store(tmp_path / "history.db") as store:
        log = [reading(1), crash(2, watchdog, b"listen.py 214 step", 3), crash(3, 200)]
        assert store.ingest(PROBE, log)[0] == 3
        with store.read() as connection:
            (probe,) = health.of_probes(connection, NOON_MS)
    assert list(probe.crashes) == [
        "a start not known: the probe could not tell why",
        "start 3: the program hung, and the watchdog started it again (listen.py 214 step)",
    ]


def test_a_probe_without_a_crash_has_none(tmp_path: Path) -> None:
    with Store(tmp_path / "history.db") as store:
        store.ingest(PROBE, [reading(1)])
        with store.read() as connection:
            (probe,) = health.of_probes(connection, NOON_MS)
    assert list(probe.crashes) == []
