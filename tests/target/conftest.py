"""One emulated core for all tests of a worker process."""

import pytest

from tests.target.core import Core


@pytest.fixture(scope="session")
def core() -> Core:
    return Core()
