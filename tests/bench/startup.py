"""What a command costs before it does its work: CPU of `--help`, `leak` and `replay` beside a bare program's.

`python -m tests.bench.startup --json`. The bare program is two commands of the same command-line library, run in turn
with the real ones. CPU is user and system time of the Python process from its start to its end; the MicroPython process
of a replay is another one and does not count. A figure is a ratio (or a difference) of medians, and it is the upper end
of its 95 % bootstrap interval that must keep the bound. The seed draws the order of the runs and the recording. The
full form also times one demo day.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
import wave
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench import _common
from tests.paths import HOST, WIRE

RATIO_BOUND = 1.5
REPLAY_BOUND_S = 0.6
DEMO_BOUND_S = 60.0
ROUNDS, ROUNDS_SHORT = 21, 9
RESAMPLES = 2000

BARE = '''
from typing import Annotated
import typer
app = typer.Typer(help="Two commands.")
@app.command("leak")
def leak(hole_mm: Annotated[float, typer.Argument(min=0.001)], bar: float, share: float = 0.65) -> None:
    """Say a number."""
    print(hole_mm * bar * share)
@app.command("other")
def other(name: str) -> None:
    """Say a name."""
    print(name)
app()
'''
REAL = "from curbtick.commands.start import main; main()"
# Writes the process's own CPU seconds, without its children's, to the file named first.
MEASURED = """
import atexit, resource, sys
def write(path=sys.argv.pop(1)):
    usage = resource.getrusage(resource.RUSAGE_SELF)
    open(path, "w").write(repr(usage.ru_utime + usage.ru_stime))
atexit.register(write)
"""

Samples = list[float]


def cpu_s(program: str, words: tuple[str, ...], folder: Path) -> float:
    """CPU seconds of one run of a program."""
    cost = folder / "cpu_s"
    environment = {**os.environ, "PYTHONPATH": f"{HOST.parent}{os.pathsep}{WIRE.parent}"}
    command = [sys.executable, "-c", MEASURED + program, str(cost), *words]
    subprocess.run(command, env=environment, cwd=folder, check=True, capture_output=True)
    return float(cost.read_text())


def write_recording(path: Path, random: np.random.Generator) -> None:
    """A healthy sensor's two seconds at 192 kS/s: ten bursts a second in a little noise."""
    rate_hz = 192_000
    time_s = np.arange(2 * rate_hz) / rate_hz
    since_s = time_s % 0.1
    envelope = np.where(since_s < 6e-4, 1.0, np.exp(-(since_s - 6e-4) / 3e-4)) * (since_s < 5e-3)
    sound = 0.3 * envelope * np.sin(2 * np.pi * 48_000 * time_s) + random.normal(0.0, 1e-3, len(time_s))
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate_hz)
        out.writeframes((sound * 32_767).astype("<i2").tobytes())


def measure(folder: Path, rounds: int, random: np.random.Generator) -> dict[str, Samples]:
    """CPU seconds of every program, `rounds` times each, all in turn; one run before them fills the caches."""
    write_recording(folder / "sensor.wav", random)
    programs = {
        "bare_help": (BARE, ("--help",)),
        "bare_leak": (BARE, ("leak", "1", "6")),
        "help": (REAL, ("--help",)),
        "leak": (REAL, ("leak", "1", "6")),
        "replay": (REAL, ("replay", "sensor.wav", "--class", "48")),
    }
    for program, words in programs.values():
        cpu_s(program, words, folder)
    found: dict[str, Samples] = {name: [] for name in programs}
    for _ in range(rounds):
        for name in random.permutation(list(programs)):
            found[name].append(cpu_s(*programs[name], folder))
    return found


def upper_end(
    found: Mapping[str, Samples], figure: Callable[[dict[str, float]], float], random: np.random.Generator
) -> float:
    """Upper end of the 95 % bootstrap interval of a figure of the medians."""
    values = []
    for _ in range(RESAMPLES):
        medians = {name: statistics.median(random.choice(costs, len(costs))) for name, costs in found.items()}
        values.append(figure(medians))
    return float(np.quantile(values, 0.975))


def demo_figure(folder: Path) -> dict[str, Any]:
    """Seconds of a demo day, from the command to its end."""
    environment = {**os.environ, "PYTHONPATH": f"{HOST.parent}{os.pathsep}{WIRE.parent}"}
    command = [sys.executable, "-c", REAL, "demo", "--out", str(folder / "demo"), "--seed", "1"]
    started_s = time.monotonic()
    subprocess.run(command, env=environment, check=True, capture_output=True)
    seconds = round(time.monotonic() - started_s, 1)
    return _common.figure("demo_s", seconds, f"<= {DEMO_BOUND_S:g}", seconds <= DEMO_BOUND_S)


def main() -> None:
    """Measure, and say what came out."""
    options = _common.arguments(__doc__ or "")
    random = np.random.default_rng(options.seed)
    with tempfile.TemporaryDirectory(prefix="curbtick-startup-") as folder:
        found = measure(Path(folder), ROUNDS_SHORT if options.short else ROUNDS, random)
        demo = [] if options.short else [demo_figure(Path(folder))]
    medians = {name: statistics.median(costs) for name, costs in found.items()}
    wanted: dict[str, tuple[Callable[[Mapping[str, float]], float], float]] = {
        "help_ratio": (lambda cost: cost["help"] / cost["bare_help"], RATIO_BOUND),
        "leak_ratio": (lambda cost: cost["leak"] / cost["bare_leak"], RATIO_BOUND),
        "replay_over_bare_s": (lambda cost: cost["replay"] - cost["bare_leak"], REPLAY_BOUND_S),
    }
    figures: list[dict[str, Any]] = []
    for name, (figure, bound) in wanted.items():
        most = round(upper_end(found, figure, random), 3)
        value = round(figure(medians), 3)
        row = _common.figure(name, value, f"upper end <= {bound}", most <= bound)
        figures.append({**row, "upper_end": most})
        if not options.json:
            print(f"{name}: {value} (at most {most}), bound {bound}")
    _common.report(
        [*figures, *demo], options, medians_s={name: round(cost, 3) for name, cost in medians.items()}
    )


if __name__ == "__main__":
    main()
