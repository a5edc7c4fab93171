"""The installed firmware on the emulated RP2040 against the unix port: `python -m tests.bench.chip --json --seed N`.

Scenes of both yards, a fresh boot each, the same samples on both sides: every record of the reading must be the same
but for ticks, temperature and supply. CURBTICK_UF2 names MicroPython's RPI_PICO image. `--short` takes SHORT scenes,
about five minutes; the full form SCENES. Times are counted from the release of READ, with flash at its typical times
and its cache's misses (tests/target/board/flash.py).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench._common import arguments, figure, report
from tests.bench.chip.outcome import Outcome, run, run_day
from tests.target.board.scenes.cases import chosen, drawn
from tests.target.board.scenes.day import UF2
from tests.target.board.scenes.heard import Heard

SCENES, SHORT = 110, 8
# Readings of the one long day, all on a power-up that is not of the fresh ones.
DAY, DAY_SHORT = 24, 3
HEAP_LEAST = 40_000
WAITING_MOST = 5
USUAL_MS_MOST, CLEAR_MS_MOST = 1500.0, 800.0
SLOW_MS_MOST = 3000.0
PERCENTILE = 99
# A reading that listened longer is one whose interval may be beyond 250 ms.
USUAL_LISTENED_MS = 1400
CLEAR = ("healthy", "healthy every 100 ms")
PLAIN = frozenset(case.name for case in chosen())


def times_of(outcomes: list[Outcome]) -> tuple[list[float], list[float], list[float]]:
    """(usual, slow, clearly healthy): from the release of READ to the verdict, in ms."""
    slow = [
        one.heard.verdict_ms for one in outcomes if one.heard.reading()["listened_ms"] > USUAL_LISTENED_MS
    ]
    usual = [one.heard.verdict_ms for one in outcomes if one.heard.verdict_ms not in slow]
    clear = [one.heard.verdict_ms for one in outcomes if one.case.name in CLEAR]
    return usual, slow, clear


def figures_of(
    outcomes: list[Outcome], wanted: int, day: list[Heard], day_wrong: list[str]
) -> list[dict[str, Any]]:
    """Every figure beside its bound."""
    heard = [one.heard for one in outcomes] + day
    usual, slow, clear = times_of(outcomes)
    differing = sum(bool(one.wrong) for one in outcomes)
    lost, waiting = sum(one.lost for one in heard), max(one.waiting for one in heard)
    usual_ms, clear_ms = float(np.percentile(usual, PERCENTILE)), max(clear)
    slow_ms = max(slow, default=0.0)
    stack, heap = (min(getattr(one, name) for one in heard) for name in ("stack_free", "heap_free"))
    return [
        figure("scenes", len(outcomes), f">= {wanted}", len(outcomes) >= wanted),
        figure("scenes_that_differ", differing, "0", differing == 0),
        figure("differences_in_the_day", len(day_wrong), "0", not day_wrong),
        figure("heap_free_bytes", heap, f">= {HEAP_LEAST}", heap >= HEAP_LEAST),
        figure("blocks_lost", lost, "0", lost == 0),
        figure("most_blocks_waiting", waiting, f"<= {WAITING_MOST} of 7", waiting <= WAITING_MOST),
        figure("c_stack_free_bytes", stack, "> 0", stack > 0),
        figure("usual_verdict_ms_p99", round(usual_ms, 1), f"<= {USUAL_MS_MOST}", usual_ms <= USUAL_MS_MOST),
        figure("slow_verdict_ms_most", round(slow_ms, 1), f"<= {SLOW_MS_MOST}", slow_ms <= SLOW_MS_MOST),
        figure("clear_verdict_ms_most", round(clear_ms, 1), f"<= {CLEAR_MS_MOST}", clear_ms <= CLEAR_MS_MOST),
    ]


def main() -> None:
    """Run, and print the figures."""
    options = arguments(__doc__ or "", ("--scenes", {"type": int, "help": "another count of scenes"}))
    if not UF2:
        sys.exit("Name MicroPython's RPI_PICO .uf2 file (micropython.org/download/RPI_PICO) in CURBTICK_UF2.")
    wanted = options.scenes or (SHORT if options.short else SCENES)
    with tempfile.TemporaryDirectory() as folder:
        outcomes = run(drawn(options.seed, wanted), Path(folder))
        day_cases = drawn(options.seed + 1, DAY_SHORT if options.short else DAY)
        day, day_wrong = run_day(day_cases, Path(folder))
    more = {"scenes": [one.line() for one in outcomes], "day": day_wrong, "image": Path(UF2).name}
    report(figures_of(outcomes, wanted, day, day_wrong), options, **more)


if __name__ == "__main__":
    main()
