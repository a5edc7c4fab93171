"""A check that begins anew is as good as new, in the buffers that it has: a heap has no room for them twice."""

from array import array
from typing import Any

import pytest
from curbtick_probe.hiss.check import HissCheck
from curbtick_probe.seal.check import SealCheck
from curbtick_wire.settings import FACTORY_SET

from tests.target.board.doubles.fake_board import FakeBoard

CHECKS = {
    "seal": lambda: SealCheck(FakeBoard(), 15_000, FACTORY_SET),
    "hiss": lambda: HissCheck(FakeBoard(), FACTORY_SET),
}
BUFFERS = (array, bytearray)


def plain(thing: Any) -> dict[str, Any]:
    """All that an object remembers, but for its buffers, its board and the phase of its oscillator."""
    remembered: dict[str, Any] = {}
    for name, value in vars(thing).items():
        if isinstance(value, int | str | bool | list | tuple | dict | None):
            remembered[name] = value
        elif hasattr(value, "__dict__") and name in {"section", "known", "rise"}:
            remembered[name] = plain(value)
    remembered.pop("_phase", None)
    return remembered


@pytest.mark.parametrize("kind", CHECKS)
def test_a_check_that_begins_anew_remembers_nothing_and_keeps_its_buffers(kind: str) -> None:
    check, fresh = CHECKS[kind](), CHECKS[kind]()
    buffers = {name: value for name, value in vars(check.meter).items() if isinstance(value, BUFFERS)}
    check.start()
    for _ in range(9):
        check.update()
    check.stop()
    assert (plain(check), plain(check.meter)) != (plain(fresh), plain(fresh.meter))
    check.begin(FACTORY_SET)
    for one in (check, fresh):
        one.start()
        one.stop()
    assert (plain(check), plain(check.meter)) == (plain(fresh), plain(fresh.meter))
    assert len(buffers) > 8
    assert all(getattr(check.meter, name) is value for name, value in buffers.items())
