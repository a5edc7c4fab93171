"""The tests of the core need a C compiler."""

import pytest


@pytest.fixture(autouse=True)
def needs_compiler(compiler: None) -> None:
    """Every test of this room."""
