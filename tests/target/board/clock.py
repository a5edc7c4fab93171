"""The bench's clock while it talks to an emulated board: simulated time, so that its own deadlines hold as they are."""

from __future__ import annotations

import time
from types import SimpleNamespace

import pytest
from curbtick.commands.probe import install
from curbtick.link import port
from mpremote import transport_serial  # type: ignore[import-untyped]
from rp2040py.clock.clock import IClock

# How long a waiting thread leaves the machine to the emulator.
_PAUSE_S = 0.002


class BoardClock:
    """`monotonic` and `sleep` of the board that was made last; the machine's own before there is one."""

    def __init__(self) -> None:
        self._clock: IClock | None = None

    def follow(self, clock: IClock) -> None:
        """Go with a board's clock from now on."""
        self._clock = clock

    def monotonic(self) -> float:
        """Seconds."""
        return float(self._clock.nanos) * 1e-9 if self._clock else time.monotonic()

    def sleep(self, duration_s: float) -> None:
        """Return when so many seconds of the board have passed."""
        end_s = self.monotonic() + duration_s
        while self.monotonic() < end_s:
            time.sleep(_PAUSE_S)


@pytest.fixture
def board_clock(monkeypatch: pytest.MonkeyPatch) -> BoardClock:
    """Simulated time for the modules of the bench, and of mpremote, that wait."""
    clock = BoardClock()
    stand_in = SimpleNamespace(monotonic=clock.monotonic, sleep=clock.sleep, time=time.time)
    for module in (install, port, transport_serial):
        monkeypatch.setattr(module, "time", stand_in)
    return clock
