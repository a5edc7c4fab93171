"""The yard benchmark: random readings through the real firmware, against what the microphone could hear.

    python -m tests.bench.yard --json [--seed N] [--short] [--readings N]

The population and its shares are host/curbtick/yard/scenes/population.py's; what a reading must say is judge.py's. A
reading that is apart is excused only from what nobody can know: noise and few bursts excuse a RETRY, never a PASS of a
bad sensor nor a WEAK of a good one. A reading is judged over the time it listened; loose contacts that sent every burst
until an early PASS are shown beside (`early_pass_of_loose_contacts`). The same scenes go through three simple ways of
working in float (tests/bench/yard/simple_ways.py).
"""

import collections
import concurrent.futures
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from curbtick.virtual.probe import process
from curbtick.yard.scenes import scenes
from curbtick_wire import names, settings

from tests.bench._common import arguments, figure, report
from tests.bench.yard import simple_ways

SCRIPT = Path(__file__).with_name("probe.py")
FULL, SHORT = 12_000, 600
LISTEN_US = 1_300_000
BOUNDS = (
    ("false_pass", 0.001),
    ("false_fail", 0.005),
    ("healthy_retry", 0.02),
    ("probe_fault_verdict", 0.0),
    ("unproved_dead", 0.02),
)
PASS, WEAK, DEAD, RETRY = names.PASS, names.WEAK, names.DEAD, names.RETRY


@dataclass(frozen=True)
class Outcome:
    """One scene's truth and what each way of working said.

    bad_later: whether a reading of LISTEN_US must not say PASS, with nothing apart. ways: by name, the level it saw in
    full scales.
    """

    seed: int
    kind: str
    fault: str
    accept: tuple[int, ...]
    apart: tuple[str, ...]
    bad_later: bool
    verdict: int
    reasons: tuple[str, ...]
    took_us: int
    interval_ms: float
    ways: dict[str, float]


class Feeder:
    """Answers the probe script: hands out scenes and collects what the firmware said."""

    def __init__(self, seeds: list[int]) -> None:
        self.left = list(seeds)
        self.scene: scenes.Scene | None = None
        self.seed = 0
        self.base_us = 0
        self.outcomes: list[Outcome] = []

    def read(self, count: int, source: int, start_us: int) -> np.ndarray:
        """The current scene's samples, its time counted from the first sample of the reading."""
        assert self.scene is not None
        if self.base_us < 0:
            self.base_us = start_us
        return self.scene.ear.read(count, source, start_us - self.base_us + self.scene.start_us)

    def ask(self, payload: bytes) -> bytes:
        """Take the last reading's values and hand out the next scene."""
        if self.scene is not None:
            self._note(json.loads(payload))
        if not self.left:
            return b"null"
        self.seed = self.left.pop(0)
        self.scene = scenes.random_scene(self.seed)
        self.base_us = -1
        truth = self.scene.truth
        limits = scenes.FACTORY_CLASSES[truth.class_khz]
        before_us = round(1000 * truth.interval_ms) if truth.heard_before else 0
        asked = {"limits": limits, "limit_set": self._limit_set(), "before_us": before_us}
        return json.dumps(asked).encode()

    def _limit_set(self) -> dict[str, int]:
        """A probe with a low battery has it already at the press: the virtual board's battery is a fixed one."""
        assert self.scene is not None
        low = self.scene.truth.probe_fault == "battery_low"
        return {**settings.FACTORY_SET, "battery_min_mv": 6000 if low else 2000}

    def _note(self, values: dict[str, Any]) -> None:
        assert self.scene is not None
        scene = self.scene
        answer = scene.judge(scene.start_us + values["listened_ms"] * 1000)
        later = scene.judge(scene.start_us + LISTEN_US)
        samples = scenes.random_scene(self.seed).ear.read(LISTEN_US // 4, names.INPUT_LOW, scene.start_us)
        self.outcomes.append(
            Outcome(
                self.seed,
                answer.kind,
                scene.truth.fault,
                tuple(answer.accept),
                answer.apart,
                PASS not in later.accept and not later.apart,
                values["verdict"],
                tuple(names.words_of(names.REASONS, values["reasons"])),
                values["took_us"],
                scene.truth.interval_ms,
                simple_ways.all_see(samples),
            )
        )


def run(seeds: list[int]) -> list[Outcome]:
    """Take these scenes' readings in one firmware process."""
    feeder = Feeder(seeds)
    process.run_script(SCRIPT, feeder, feeder.ask, heap_kb=1000, timeout_s=7200)
    return feeder.outcomes


def wilson_upper(hits: int, tries: int) -> float:
    """Upper bound of the 95 % Wilson interval of a share (Newcombe 1998); 1 for no tries."""
    if not tries:
        return 1.0
    z, p = 1.959964, hits / tries
    middle = p + z * z / (2 * tries)
    half = z * (p * (1 - p) / tries + z * z / (4 * tries * tries)) ** 0.5
    return float((middle + half) / (1 + z * z / tries))


def rates(outcomes: list[Outcome]) -> dict[str, tuple[list[Outcome], list[Outcome]]]:
    """For each bound: (the readings it counts, those that broke it)."""
    counted = [o for o in outcomes if not o.apart]
    bad = [o for o in outcomes if o.kind not in ("healthy", "probe_fault") and PASS not in o.accept]
    bad = [o for o in bad if "slower" not in o.apart]
    fine = [o for o in outcomes if o.kind == "healthy" and WEAK not in o.accept]
    good = [o for o in counted if o.kind == "healthy"]
    broken = [o for o in outcomes if o.kind == "probe_fault"]
    off = [o for o in counted if o.kind == "silent" and DEAD not in o.accept]
    return {
        "false_pass": (bad, [o for o in bad if o.verdict == PASS]),
        "false_fail": (fine, [o for o in fine if o.verdict in (WEAK, DEAD)]),
        "healthy_retry": (good, [o for o in good if o.verdict == RETRY]),
        "probe_fault_verdict": (broken, [o for o in broken if o.verdict != RETRY]),
        "unproved_dead": (off, [o for o in off if o.verdict == DEAD]),
    }


def way_rates(outcomes: list[Outcome], way: str, ours: tuple[float, float]) -> tuple[float, float]:
    """The least a simple way must pay, whatever its threshold.

    Returns the share of bad it passes at the highest threshold that fails no larger a share of good than we do, and the
    share of good it fails at the lowest threshold that passes no larger a share of bad than we do.
    """
    table = rates(outcomes)
    bad = np.sort([o.ways[way] for o in table["false_pass"][0]])
    good = np.sort([o.ways[way] for o in table["false_fail"][0]])
    strict = good[min(len(good) - 1, int(ours[1] * len(good)))]
    mild = bad[max(0, len(bad) - 1 - int(ours[0] * len(bad)))]
    return float(np.mean(bad >= strict)), float(np.mean(good <= mild))


def figures_of(outcomes: list[Outcome], full: bool) -> list[dict[str, Any]]:
    """Every figure beside its bound; a short run is too small for the Wilson bounds and is held to plain shares."""
    table = rates(outcomes)
    limits = dict(BOUNDS)
    figures = []
    for name, limit in limits.items():
        counted, broken = table[name]
        share = len(broken) / max(1, len(counted))
        upper = wilson_upper(len(broken), len(counted))
        value = share if name == "probe_fault_verdict" or not full else upper
        entry = figure(name, round(value, 6), f"<= {limit}", value <= limit)
        figures.append({**entry, "count": len(broken), "of": len(counted), "wilson_upper": round(upper, 6)})
    figures.extend(_shown_figures(outcomes))
    figures.extend(_way_figures(outcomes))
    figures.extend(_time_figures(outcomes))
    return figures


def _shown_figures(outcomes: list[Outcome]) -> list[dict[str, Any]]:
    """What no issue bounds, and a user should know."""
    loose = [o for o in outcomes if o.fault == "intermittent" and o.bad_later]
    bad = rates(outcomes)["false_pass"][0]
    heard = [o for o in bad if o.kind == "faulty"]
    alike = [o for o in outcomes if "slower" in o.apart]
    shares = {
        "early_pass_of_loose_contacts": (loose, [o for o in loose if o.verdict == PASS]),
        "looks_slower_pass": (alike, [o for o in alike if o.verdict == PASS]),
        "faulty_retry": (heard, [o for o in heard if o.verdict == RETRY]),
        "faulty_dead": (heard, [o for o in heard if o.verdict == DEAD and DEAD not in o.accept]),
        "silent_weak": (bad, [o for o in bad if o.kind == "silent" and o.verdict == WEAK]),
    }
    return [
        {
            **figure(name, round(len(hit) / max(1, len(of)), 5), "shown", True),
            "count": len(hit),
            "of": len(of),
        }
        for name, (of, hit) in shares.items()
    ]


def by_fault(outcomes: list[Outcome]) -> dict[str, str]:
    """The false passes of each fault, of how many."""
    bad, passed = rates(outcomes)["false_pass"]
    many, hits = collections.Counter(o.fault for o in bad), collections.Counter(o.fault for o in passed)
    return {fault: f"{hits[fault]} of {count}" for fault, count in many.most_common()}


def _way_figures(outcomes: list[Outcome]) -> list[dict[str, Any]]:
    table = rates(outcomes)
    ours = tuple(len(table[name][1]) / max(1, len(table[name][0])) for name in ("false_pass", "false_fail"))
    found = []
    for way in simple_ways.WAYS:
        passed, failed = way_rates(outcomes, way, (ours[0], ours[1]))
        found.append(figure(f"{way}_false_pass", round(passed, 5), f"> ours {ours[0]:.5f}", passed > ours[0]))
        found.append(figure(f"{way}_false_fail", round(failed, 5), f"> ours {ours[1]:.5f}", failed > ours[1]))
    return found


def _steady(o: Outcome) -> bool:
    """Whether a reading had a held sensor to time: a loose contact's interval looks longer than it is."""
    return o.kind in ("healthy", "faulty") and o.fault != "intermittent" and not o.apart


def _time_figures(outcomes: list[Outcome]) -> list[dict[str, Any]]:
    quick = max((o.took_us for o in outcomes if _steady(o) and o.interval_ms <= 250), default=0) / 1e6
    slow = max((o.took_us for o in outcomes), default=0) / 1e6
    return [
        figure("listening_s_to_250_ms", quick, "<= 1.4 (0.1 s of 1.5 for the flash)", quick <= 1.4),
        figure("listening_s_any", slow, "<= 2.9 (0.1 s of 3 for the flash)", slow <= 2.9),
    ]


def failures(outcomes: list[Outcome]) -> list[dict[str, Any]]:
    """Every reading that broke a bound, with the seed that replays it."""
    out = []
    for name, (_, broken) in rates(outcomes).items():
        for o in broken:
            said = names.VERDICTS[o.verdict]
            out.append({"bound": name, "seed": o.seed, "fault": o.fault, "said": said, "reasons": o.reasons})
    quick = [o for o in outcomes if _steady(o) and o.interval_ms <= 250 and o.took_us > 1.4e6]
    for o in quick:
        out.append(
            {
                "bound": "slow",
                "seed": o.seed,
                "fault": o.fault,
                "took_us": o.took_us,
                "interval": o.interval_ms,
            }
        )
    return out


def take(seed: int, count: int) -> list[Outcome]:
    """Take `count` readings in two firmware processes side by side; scene seeds follow from `seed`."""
    seeds = [seed * 1_000_000 + n for n in range(count)]
    chunks = [seeds[start::2] for start in range(2)]
    with concurrent.futures.ProcessPoolExecutor(2) as pool:
        return [outcome for part in pool.map(run, chunks) for outcome in part]


def main() -> None:
    """Run the benchmark."""
    options = arguments(__doc__ or "", ("--readings", {"type": int, "default": 0}))
    count = options.readings or (SHORT if options.short else FULL)
    outcomes = take(options.seed, count)
    apart = collections.Counter(why for o in outcomes for why in o.apart)
    report(
        figures_of(outcomes, full=not options.short),
        options,
        readings=len(outcomes),
        apart=dict(apart),
        false_pass_by_fault=by_fault(outcomes),
        failures=failures(outcomes)[:60],
    )


if __name__ == "__main__":
    main()
