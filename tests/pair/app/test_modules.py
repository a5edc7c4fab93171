"""A check's modules leave MicroPython's heap when another check begins, and come back as good as new."""

import json
import subprocess

import pytest

from tests.bench._common import micropython_command, micropython_environment
from tests.paths import FIRMWARE

PROBE = FIRMWARE / "curbtick_probe"

SCRIPT = """
import gc, json
from curbtick_probe.app import modules
from curbtick_probe.dsp import level

level_cdb = level.power_cdb(1000)

def free():
    gc.collect()
    return gc.mem_free()

def load():
    from curbtick_probe.{check} import check as module
    return len(module.STATUSES)

kept = modules.loaded()
before = free()
inside, after = [], []
for _ in range(4):
    assert load() > 1
    inside.append(free())
    modules.give_back(kept)
    after.append(free())
as_before = set(modules.loaded()) == set(kept) and level.power_cdb(1000) == level_cdb
print(json.dumps([before, inside, after, as_before]))
"""
# Names stay for ever: MicroPython keeps each once. A PC keeps a line for each kernel, too, whenever it is loaded.
NAMES_SHARE_MAX = 0.4
KERNEL_LINE_BYTES = 32
# The level's kernel alone is loaded before, and stays.
KERNEL_ROOMS = {"seal": ("dsp", "dsp/tone"), "hiss": ("dsp", "dsp/hiss")}


def kernels_of(check: str) -> int:
    """How many kernels the rooms hold that a check loads."""
    files = [file for room in KERNEL_ROOMS[check] for file in (PROBE / room).glob("*.py")]
    return sum(file.read_text().count("@micropython.viper") for file in files)


@pytest.mark.parametrize("check", ["seal", "hiss"])
def test_a_check_s_modules_are_given_back(check: str) -> None:
    done = subprocess.run(
        [*micropython_command(), "-X", "heapsize=1m", "-c", SCRIPT.format(check=check)],
        env=micropython_environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    before, inside, after, as_before = json.loads(done.stdout)
    assert before - after[0] < NAMES_SHARE_MAX * (before - inside[0])
    assert max(after[1:]) - after[-1] <= 2 * KERNEL_LINE_BYTES * kernels_of(check), after
    assert as_before
