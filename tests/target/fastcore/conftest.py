"""The tests of the core need a C compiler."""

import pytest

from tests import programs


@pytest.fixture(autouse=True, scope="session")
def compiler() -> None:
    """Skip, or fail on CI, where no compiler is."""
    programs.needed(programs.CC)
