"""One emulated core for all tests of a worker process."""

import pytest

from tests import programs
from tests.target.core import Core


@pytest.fixture(scope="session")
def core() -> Core:
    return Core()


@pytest.fixture(scope="session")
def compiler() -> None:
    """A C compiler; skips, or fails on CI, where there is none."""
    programs.needed(programs.CC)
