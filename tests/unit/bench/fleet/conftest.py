"""One fixture for the fleet's tests: two vehicles, their findings, two probes, entered out of time order."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.store.history import Store, whole

from tests.unit.bench.fleet.fleetdata import Yard


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    """The yard; what was derived while a test ran must be what follows from the history anew."""
    with Store(tmp_path / "history.db") as store:
        yield Yard(store)
        assert whole.check(store) == []
