"""A hostile probe at the bench's cable. `python -m tests.bench.evilprobe --json [--seed N] [--short]`.

An impostor and a mutator on a pty, written from protocol/SPEC.md alone: its tables are read from the page. Each lie
meets the real command line of a bench that is paired with the true probe, and of one that is not; after it the true
probe is pulled, reported and exported. Mutated sessions come in runs over one history, the true probe after each run.
"""

import itertools
import random
import tempfile
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from tests.bench import _common
from tests.bench.evilprobe.bench import Bench, template
from tests.bench.evilprobe.lies import all_lies
from tests.bench.evilprobe.mutator import session
from tests.bench.evilprobe.server import truth
from tests.bench.evilprobe.trial import DEADLINE_S, DISK_BYTES, Finding, Trial
from tests.bench.evilprobe.ways import Lie

LANES = 2
SESSIONS, SESSIONS_SHORT = 5_000, 200
SESSIONS_ALONE = "sessions"
RUN = 20
MEMORY_GROWTH_MB = 60.0
FIGURES = ("hangs", "exit_70", "keys_changed", "readings_missed", "disk_unbounded")
Job = Callable[[Trial], None]


def of_lie(lie: Lie, paired: bool) -> Job:
    """The trial of one lie."""
    return lambda trial: trial.lie(lie, paired)


def of_sessions(seeds: Iterable[int], paired: bool) -> Job:
    """The trial of a run of mutated sessions."""
    return lambda trial: trial.mutated([(seed, session(seed)) for seed in seeds], paired)


def jobs(rng: random.Random, count: int, only: str | None) -> list[Job]:
    """All trials: each lie twice, then the mutated sessions. only: lies whose name has these words."""
    lies = [lie for lie in all_lies() if only is None or only in lie.name]
    told = [of_lie(lie, paired) for lie in lies for paired in (True, False)]
    seeds = [rng.getrandbits(32) for _ in range(count if only in (None, SESSIONS_ALONE) else 0)]
    runs = [seeds[at : at + RUN] for at in range(0, len(seeds), RUN)]
    return told + [of_sessions(run, bool(n % 2)) for n, run in enumerate(runs)]


class Lane:
    """A bench of its own that takes one job after another."""

    def __init__(self, folder: Path) -> None:
        self.bench = Bench(folder / "bench")
        self.bench.run("--help")  # loads the program, whose seconds are no exchange's
        paired = template(self.bench, folder / "paired", paired=True)
        self.trial = Trial(self.bench, paired, template(self.bench, folder / "unpaired", paired=False))
        # One session as a warm-up, so that memory is compared with that of a program at work.
        self.trial.lie(Lie("the truth", truth), paired=True)
        self.memory_mb = self.bench.run("--help").peak_mb


def attack(folder: Path, all_jobs: list[Job], tell: Callable[[Finding], None]) -> list[Lane]:
    """Run all jobs in several lanes. tell: hears of each finding at once."""
    waiting, lock = iter(all_jobs), threading.Lock()

    def work(number: int) -> Lane:
        lane = Lane(folder / str(number))
        try:
            while True:
                with lock:
                    job = next(waiting, None)
                if job is None:
                    return lane
                known = len(lane.trial.findings)
                job(lane.trial)
                for finding in lane.trial.findings[known:]:
                    tell(finding)
        finally:
            lane.bench.close()

    with ThreadPoolExecutor(LANES) as pool:
        return list(pool.map(work, range(LANES)))


def figures(lanes: list[Lane], lies: int, sessions: int) -> list[dict[str, Any]]:
    """What the attack showed."""
    found = [finding for lane in lanes for finding in lane.trial.findings]
    counts = {name: sum(finding.figure == name for finding in found) for name in FIGURES}
    slowest = max(lane.trial.slowest_s for lane in lanes)
    growth = max(lane.trial.peak_mb - lane.memory_mb for lane in lanes)
    disk = max(lane.trial.disk_most for lane in lanes)
    return [
        _common.figure("lies", lies, ">= 60", lies >= 60),
        _common.figure("mutated_sessions", sessions, "shown", True),
        *(_common.figure(name, count, "== 0", count == 0) for name, count in counts.items()),
        _common.figure("slowest_s", round(slowest, 1), f"<= {DEADLINE_S}", slowest <= DEADLINE_S),
        _common.figure(
            "memory_growth_mb", round(growth, 1), f"<= {MEMORY_GROWTH_MB}", growth <= MEMORY_GROWTH_MB
        ),
        _common.figure("disk_growth_bytes", disk, f"<= {DISK_BYTES}", disk <= DISK_BYTES),
    ]


def main() -> None:
    """Run and report."""
    options = _common.arguments(
        str(__doc__).splitlines()[0],
        ("--only", {"help": "only lies whose name has these words, or `sessions`"}),
    )
    count = SESSIONS_SHORT if options.short else SESSIONS
    told: list[Finding] = []
    with tempfile.TemporaryDirectory() as folder:
        lanes = attack(Path(folder), jobs(random.Random(options.seed), count, options.only), told.append)
    _common.report(
        figures(lanes, len(all_lies()), count),
        options,
        findings=[finding._asdict() for finding in itertools.islice(told, 40)],
    )


if __name__ == "__main__":
    main()
