"""Fixtures of the wire's pair tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.link.client import Client

from tests.pair.link.harness import Bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A probe started for pairing, with 40 records and a start event in its log."""
    made = Bench(tmp_path, "pairing")
    made.probe.append(40)
    yield made
    made.close()


@pytest.fixture
def paired(bench: Bench) -> Iterator[Client]:
    with bench.connect() as client:
        client.pair("first bench")
        yield client
