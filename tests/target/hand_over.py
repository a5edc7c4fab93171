"""The bookkeeping of board/adc_dma.py at a hand-over, for its cost to be counted: a ring that is never empty."""

import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType, SimpleNamespace
from typing import Any
from unittest.mock import patch

AHEAD = 2


@contextmanager
def _chip() -> Iterator[None]:
    """As much of the chip's modules as importing adc_dma needs."""
    fakes = {name: ModuleType(name) for name in ("machine", "rp2", "uctypes")}
    fakes["machine"].__dict__.update(mem32=defaultdict(int), idle=lambda: None, Pin=None)
    with (
        patch.dict(sys.modules, fakes),
        patch.object(sys.implementation, "_machine", "a board with RP2040", create=True),
    ):
        yield


class HandOver:
    """The real Capture over a ring in which two more blocks are always there; `take()` costs what a hand-over does."""

    def __init__(self) -> None:
        with _chip():
            self._module = import_module("curbtick_probe.board.rp2.adc_dma")
            del sys.modules["curbtick_probe.board.rp2.adc_dma"]
        self._module.__dict__["time"] = SimpleNamespace(
            ticks_us=lambda: 0, ticks_diff=lambda later, earlier: 0
        )
        self._capture: Any = self._module.Capture.__new__(self._module.Capture)
        self._capture.__dict__.update(
            _ring=[None] * self._module.RING_BLOCKS,
            _table=0,
            _control=self,
            _completed=0,
            _taken=0,
            _looked_us=0,
            _found_two=False,
            overruns=0,
        )

    @property
    def read(self) -> int:
        """The control channel's read address: AHEAD blocks are complete, the next is being filled."""
        return int((self._capture._taken + AHEAD + 1) % self._module.RING_BLOCKS) << 2

    def take(self) -> None:
        """Hand a block over."""
        self._capture.block()
        assert self._capture.overruns == 0
