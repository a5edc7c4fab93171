"""Listening allocates nothing: whole readings, which lock MicroPython's heap while they listen, on the unix port.

An allocation would end the listening, and the reading would be RETRY for samples_lost.

A PC's integers are wider than the chip's, so a value of 2**30 or more would allocate on the chip alone: the emulated
board (test_bumper.py) listens with its heap locked as well.
"""

import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from curbtick.yard.ear import faults
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import scenes
from curbtick_probe import reason
from curbtick_wire import names

from tests.bench._common import micropython_command, micropython_environment


def yard_ear(seed: int) -> Ear:
    """The ear of one of the yard benchmark's scenes."""
    return scenes.random_scene(seed).ear


BLOCKS = 720
SCRIPT = Path(__file__).with_name("programs") / "heap.py"
SCENES: dict[str, tuple[Callable[[], Ear], set[int]]] = {
    "healthy": (lambda: scenes.single(seed=11), {names.PASS}),
    "weak": (lambda: scenes.single(seed=12, fault=faults.weak(15.0)), {names.WEAK}),
    "dead": (lambda: scenes.single(seed=13, fault=faults.DEAD), {names.DEAD, names.RETRY}),
    "noisy": (lambda: scenes.single(seed=14, noise_dbfs=-45.0), set(range(4))),
    "slow": (lambda: scenes.single(seed=15, interval_ms=400.0), set(range(4))),
    **{f"yard {seed}": (partial(yard_ear, seed), set(range(4))) for seed in (0, 3, 7)},
}


def samples_of(ear: Ear, input_: int) -> bytes:
    """What an input hears for BLOCKS blocks."""
    return b"".join(ear.read(1024, input_, block * 4096).astype("<u2").tobytes() for block in range(BLOCKS))


@pytest.mark.parametrize("name", SCENES)
def test_a_reading_allocates_nothing(name: str, tmp_path: Path) -> None:
    make, expected = SCENES[name]
    paths = {tmp_path / "low": names.INPUT_LOW, tmp_path / "high": names.INPUT_HIGH}
    for path, input_ in paths.items():
        path.write_bytes(samples_of(make(), input_))
    done = subprocess.run(
        [*micropython_command(), "-X", "heapsize=12m", str(SCRIPT), *map(str, paths)],
        env=micropython_environment(),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    taken, unlocked, depth_after, reasons, verdict = map(int, done.stdout.split())
    assert (unlocked, depth_after) == (0, 0)
    assert taken > 0 and not reasons & reason.SAMPLES_LOST
    assert verdict in expected
