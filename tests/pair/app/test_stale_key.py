"""A bench whose key the probe no longer knows still pulls, with times, and is told to pair again."""

from pathlib import Path

from curbtick.exchange.pull import pull_probe
from curbtick.link.client import connect
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from sqlalchemy import select

from tests.pair.app.bench import Bench, healthy


def test_a_probe_that_forgot_the_key_is_pulled_with_times_and_nothing_acknowledged(tmp_path: Path) -> None:
    paired = Bench(tmp_path, round_=None)
    paired.probe.close()
    with VirtualProbe(Ear(seed=1), tmp_path / "new_flash") as probe, Store(tmp_path / "history.db") as store:
        probe.run_until_idle()
        assert Technician(probe).read(healthy())[0].words == ("pass",)
        with connect(probe.pty_path) as client:
            client._keyring = paired.keyring
            assert client.paired and client.may_change
            pulled = pull_probe(store, client)
        with store.read() as connection:
            times_ms = connection.scalars(select(tables.readings.c.time_ms)).all()
    assert pulled.acknowledged_seq == 0 and pulled.paired and not pulled.may_change
    assert any("curbtick probes pair" in note for note in pulled.notes)
    assert len(times_ms) == 1 and times_ms[0] is not None
