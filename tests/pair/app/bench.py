"""A probe in a technician's hands, for the tests of the firmware's state machine."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
from curbtick.link.replies import Record
from curbtick.virtual.demo.technician import LONG_MS, Seen, Technician
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, READ, STEP
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import scenes
from curbtick_wire import records
from numpy.typing import NDArray

REAR, FRONT = range(2)
# The technician presses so long after the probe came to rest (bus.py).
REACTION_US = 50_000
ROUND = {
    "round_id": 7,
    "vehicles": [
        {
            "vehicle": 3,
            "rear_positions": 4,
            "rear_class_khz": 48,
            "front_positions": 2,
            "front_class_khz": 40,
        },
        {
            "vehicle": 12,
            "rear_positions": 1,
            "rear_class_khz": 58,
            "front_positions": 0,
            "front_class_khz": 0,
        },
        {
            "vehicle": 40,
            "rear_positions": 0,
            "rear_class_khz": 0,
            "front_positions": 6,
            "front_class_khz": 68,
        },
    ],
}


def healthy(class_khz: int = 48, seed: int = 1) -> Ear:
    return scenes.single(class_khz=class_khz, seed=seed)


def weak(class_khz: int = 48) -> Ear:
    return scenes.single(class_khz=class_khz, level_dbfs=-24.0, seed=2)


class Stuck:
    """A converter that gives one code whatever is heard."""

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        return np.full(count, 1000, dtype=np.uint16)


class Bench:
    """A probe that was paired and given a round, with a technician's thumbs on it."""

    def __init__(
        self,
        folder: Path,
        round_: dict[str, Any] | None = ROUND,
        options: dict[str, str] | None = None,
        script: Path | None = None,
    ) -> None:
        self.keyring = Keyring(folder / "keys.json")
        self.probe = VirtualProbe(Ear(seed=1), folder / "flash", script=script, held=STEP, options=options)
        self.thumbs = Technician(self.probe)
        self.pressed_us = 0
        self.probe.run_until_idle()
        with self.client() as client:
            client.pair("test")
            if round_:
                client.send_round(round_)
        self.probe.run_until_idle()

    def client(self) -> Client:
        return connect(self.probe.pty_path, self.keyring)

    def log(self, kind: int = records.READING) -> list[Record]:
        with self.client() as client:
            return [record for record in client.records() if record.kind == kind]

    def at(self, bumper: int, position: int) -> bool:
        return self.probe.bar == bar.position_mask(bumper, position)

    def cut_power_when_lit(self, mask: int) -> None:
        """Press READ, cut the power as soon as the bar shows a mask, and switch on again."""
        cut: list[int] = []

        def look(panel: object) -> None:
            if self.probe.bar == mask and not cut:
                cut.append(self.probe.now_us)
                self.probe._process.kill()  # type: ignore[union-attr]

        self.probe.bus.on_panel = look
        self.probe.press(READ)
        self.probe.wait_exit()
        assert cut
        self.probe.power_on()
        self.probe.run_until_idle()

    def leave_checks(self, times: int) -> None:
        """Hold both buttons until the bumper check is back, where the probe rests and answers."""
        for _ in range(times - 1):
            self.thumbs.meter_press(BOTH, LONG_MS)
        self.probe.press(BOTH, LONG_MS)
        self.probe.run_until_idle()

    def read(self, ear: Ear) -> Seen:
        self.probe.ear = ear
        self.pressed_us = self.probe.now_us + REACTION_US
        return self.thumbs.press(READ)

    def read_and_step(self, ear: Ear) -> Seen:
        """Read, and press STEP where a RETRY left the probe at its position."""
        seen = self.read(ear)
        if seen.verdict == "retry":
            self.thumbs.next_position()
        return seen


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A probe that was paired and given ROUND."""
    made = Bench(tmp_path)
    yield made
    made.probe.close()


class Steady:
    """A tone of some codes peak at a frequency, and white noise, both for ever."""

    def __init__(self, peak: float, frequency_hz: float = 15_000.0, noise: float = 2.0) -> None:
        self.peak, self.noise = peak, noise
        self._frequency_hz = frequency_hz
        self._random = np.random.default_rng(1)

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        time_s = np.arange(count) / 250e3 + start_us / 1e6
        codes = self.peak * np.sin(2 * np.pi * self._frequency_hz * time_s)
        codes += self._random.normal(0.0, self.noise, count)
        return np.clip(2048 + codes, 0, 4095).astype(np.uint16)
