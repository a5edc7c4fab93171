"""What every benchmark shares: its arguments, where the sources stand, and the one JSON line it ends with."""

import argparse
import json
import os
import pathlib
import secrets
import sys
import time
from typing import Any, NoReturn

from tests.paths import ROOT

SEED_END = 1_000_000


def arguments(description: str, *extra: tuple[str, dict[str, Any]]) -> argparse.Namespace:
    """Parse `--seed N`, `--short`, `--json` and any extra (name, add_argument keywords).

    The seed is a fresh one unless it is given, and is printed on the error output: a bound holds on any seed.
    The result also has `started_s`, the monotonic time of the start, which report() needs.
    """
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--seed", type=int, help="seed of every random choice; a fresh one if not given")
    parser.add_argument("--short", action="store_true", help="a smaller run, for CI")
    parser.add_argument("--json", action="store_true", help="nothing but the JSON line on stdout")
    for name, keywords in extra:
        parser.add_argument(name, **keywords)
    options = parser.parse_args()
    if options.seed is None:
        options.seed = secrets.randbelow(SEED_END)
        print(f"seed {options.seed}", file=sys.stderr, flush=True)
    options.started_s = time.monotonic()
    return options


def peak_mb() -> float:
    """Peak memory of this process alone, in MB (Linux). getrusage would count what the parent had when it forked."""
    status = pathlib.Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    line = next(line for line in status.splitlines() if line.startswith("VmHWM:"))
    return int(line.split()[1]) / 1024


def figure(name: str, value: float, bound: str, holds: bool) -> dict[str, Any]:
    """One figure beside its bound, the bound in words such as `>= 0.94`."""
    return {"name": name, "value": value, "bound": bound, "holds": bool(holds)}


def report(figures: list[dict[str, Any]], options: argparse.Namespace, **more: Any) -> NoReturn:
    """Print the JSON line and leave: exit code 0 when every figure holds, 1 otherwise.

    figures: made by figure(); options: as arguments() gave them; more: anything else to be kept.
    """
    holds = bool(figures) and all(entry["holds"] for entry in figures)
    seconds = round(time.monotonic() - options.started_s, 1)
    line = {
        "holds": holds,
        "figures": figures,
        "seed": options.seed,
        "short": options.short,
        "seconds": seconds,
    }
    print(json.dumps({**line, **more}), flush=True)
    sys.exit(0 if holds else 1)


def micropython_command() -> list[str]:
    """The MicroPython that benchmarks run: CURBTICK_MICROPYTHON, or `micropython` beside this Python or on the PATH."""
    named = os.environ.get("CURBTICK_MICROPYTHON")
    beside = pathlib.Path(sys.executable).parent / "micropython"
    return [named or (str(beside) if beside.exists() else "micropython")]


def micropython_environment() -> dict[str, str]:
    """The environment that lets MicroPython import the firmware, the wire definitions and tests."""
    rooms = [str(ROOT / room) for room in ("firmware", "protocol", "tests/target/board/doubles")]
    return {**os.environ, "MICROPYPATH": ":".join([".frozen", *rooms])}
