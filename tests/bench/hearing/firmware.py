"""Joins the second yard with the real firmware: one MicroPython process hears scene after scene.

with probe() as hear:
    values = hear(scene)      # of the reading's record, with the `sounds` that it kept
    sections = hear(story)    # the values of each section's record, None where the probe closed none
"""

import contextlib
import json
import queue
import struct
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from curbtick.virtual.probe.process import ProbeStoppedError, VirtualProbe
from curbtick_wire import names
from curbtick_wire.records import SOUND
from curbtick_wire.settings import FACTORY_SET
from numpy.typing import NDArray

from tests.bench.otheryard.scene import Scene
from tests.bench.otheryard.story import Story

SCRIPT = Path(__file__).with_name("probe.py")
HEAP_KB = 4000
LONGEST_S = 300.0
_LOOK_S = 1.0
_SOUND = struct.Struct("<" + "".join(form for _, form, _, _ in SOUND))

Heard = Scene | Story


class Desk:
    """Hands scenes to the program that runs on the bus's thread, and its answers back to the caller's."""

    def __init__(self) -> None:
        self._wanted: queue.Queue[Heard | None] = queue.Queue()
        self._answers: queue.Queue[Any] = queue.Queue()
        self._scene: Heard | None = None

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        """Samples of the scene that is heard now."""
        assert self._scene is not None
        return self._scene.read(count, input, start_us)

    def ask(self, payload: bytes) -> bytes:
        """Keep the answer to the last scene, and wait for the next one."""
        if self._scene is not None:
            self._answers.put(json.loads(payload))
        self._scene = self._wanted.get()
        return json.dumps(asked_of(self._scene)).encode()

    def hear(self, scene: Heard, running: VirtualProbe) -> Any:
        """Have a scene heard. Raises ProbeStoppedError when the program ended instead of answering."""
        self._wanted.put(scene)
        for _ in range(int(LONGEST_S / _LOOK_S)):
            with contextlib.suppress(queue.Empty):
                return self._answers.get(timeout=_LOOK_S)
            if not running.running:
                break
        raise ProbeStoppedError(
            f"The program stopped or hangs in {scene.kind}:{scene.seed}:{scene.index}.\n{running.stderr_text()}",
            "The scenes before it were heard.",
            "Replay this one with `python -m tests.bench.otheryard --replay`.",
        )

    def end(self) -> None:
        """Let the program end."""
        self._wanted.put(None)


def asked_of(scene: Heard | None) -> dict[str, Any] | None:
    """What the program is told of a scene: what a technician sets and presses, and nothing of what sounds."""
    if scene is None:
        return None
    if isinstance(scene, Story):
        presses = [[round(press.at_s * 1e6), press.gesture, press.means] for press in scene.presses]
        asked = {"check": scene.check, "presses": presses, "end_us": round(scene.seconds * 1e6)}
    else:
        asked = {
            "check": "bumper",
            "limits": scene.limits,
            "before_us": scene.before.interval_us if scene.before else 0,
        }
    return {**asked, "limit_set": FACTORY_SET}


@contextlib.contextmanager
def probe() -> Iterator[Callable[[Heard], Any]]:
    """A probe that hears scenes: what it gives takes a scene and returns the values of its records."""
    desk = Desk()
    with VirtualProbe(desk, script=SCRIPT, heap_kb=HEAP_KB, on_ask=desk.ask) as running:
        try:
            yield lambda scene: with_sounds(desk.hear(scene, running))
        finally:
            desk.end()


def with_sounds(heard: Any) -> Any:
    """A reading's values, the sounds that it kept taken from their records; a story's as they are."""
    return {**heard, "sounds": sounds_of(heard["sounds"])} if isinstance(heard, dict) else heard


def sounds_of(tails: list[str]) -> list[dict[str, Any]]:
    """The sounds of records' tails: time_s, level_dbfs, frequency_hz, length_us and kind (names.SOUND_KINDS)."""
    rows = [row for tail in tails for row in _SOUND.iter_unpack(bytes.fromhex(tail))]
    return [
        {
            "time_s": time_50us * 50e-6,
            "level_dbfs": level_cdb / 100,
            "frequency_hz": 2 * frequency_2hz,
            "length_us": 10 * length_10us,
            "kind": names.SOUND_KINDS[kind],
        }
        for time_50us, level_cdb, frequency_2hz, length_10us, kind in rows
    ]
