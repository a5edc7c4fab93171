"""The second yard, heard by the probe: `python -m tests.bench.otheryard --list`, or with a runner the readings.

A runner is what connects a scene with the firmware: `--runner MODULE:NAME` names a context manager that gives a
function from a Scene to the reading's values (with `verdict`, a word of names.VERDICTS or its number), or for the seal
and the hiss check from a Story to the list of its sections' verdicts.
"""

import argparse
import importlib
import json
import secrets
import statistics
import sys
import time
from typing import Any

from curbtick_wire.names import HISS_VERDICTS, INPUT_LOW, SEAL_VERDICTS, VERDICTS

from tests.bench.otheryard.catalog import CHECKS
from tests.bench.otheryard.kinds import Kinds
from tests.bench.otheryard.rates import BUMPER_BOUNDS, LISTEN_BOUNDS, Rates, bumper_events, listen_events
from tests.bench.otheryard.story import Story
from tests.bench.otheryard.truth import ACCEPTED, RIGHT, Truth

WORDS = {"bumper": VERDICTS, "seal": SEAL_VERDICTS, "hiss": HISS_VERDICTS}
SHORT_ROUNDS, FULL_ROUNDS = 1, 120
SHOWN_FAILURES = 60
LIST_DRAWS = 3
SPEED_S = 1.4
BLOCK, BLOCK_US = 1024, 4096


def arguments(line: list[str] | None) -> argparse.Namespace:
    """The command line; the process's own where none is given."""
    parser = argparse.ArgumentParser(description="readings in a yard made by other hands")
    parser.add_argument("--list", action="store_true", help="print the kinds of scenes with their truths")
    parser.add_argument(
        "--check", choices=list(CHECKS), action="append", help="only this check; may be repeated"
    )
    parser.add_argument("--kind", help="only this kind")
    parser.add_argument("--runner", help="MODULE:NAME of what lets the firmware hear a scene")
    parser.add_argument("--rounds", type=int, help="how many scenes of each kind")
    parser.add_argument("--seed", type=int, help="seed of every random choice; a fresh one if not given")
    parser.add_argument("--index", type=int, help="only the scene of this number, to replay it")
    parser.add_argument("--short", action="store_true", help="one scene of each kind")
    parser.add_argument(
        "--speed", action="store_true", help="print how long it takes to make a scene of each kind"
    )
    parser.add_argument("--json", action="store_true", help="nothing but the JSON line on stdout")
    return parser.parse_args(line)


def shown_truth(truth: Truth) -> str:
    """A truth in words: what is right, (what is accepted), and what must not be."""
    right = " or ".join(sorted(truth.best)).upper()
    accepted = f" ({', '.join(sorted(truth.accepted))})" if truth.accepted else ""
    never = f", never {' or '.join(sorted(truth.must_not))}" if truth.must_not else ""
    return right + accepted + never + (f"; apart: {truth.apart}" if truth.apart else "")


def print_list(checks: list[str]) -> None:
    """The kinds, each with the truths of a few draws."""
    for check in checks:
        kinds, make = CHECKS[check]
        print(f"{check}: {len(kinds)} kinds")
        for name, kind in kinds.items():
            scenes: list[Any] = [make(1, index, name) for index in range(LIST_DRAWS)]
            truths = [truth for scene in scenes for truth in getattr(scene, "truths", None) or [scene.truth]]
            print(f"  {name}: {kind.line}")
            print(f"      {' | '.join(sorted({shown_truth(truth) for truth in truths}))}")


def print_speed(checks: list[str], seed: int) -> None:
    """Milliseconds of processor time to draw a scene and read SPEED_S of it: the median of the kinds, and the worst."""
    for check in checks:
        kinds, make = CHECKS[check]
        taken_ms: dict[str, float] = {}
        warm: Any = make(seed, 0)
        warm.read(BLOCK, INPUT_LOW, 0)
        for index, name in enumerate(kinds):
            started_s = time.process_time()
            scene: Any = make(seed, index)
            seconds = getattr(scene, "seconds", SPEED_S)
            for block in range(int(seconds * 1e6 / BLOCK_US)):
                scene.read(BLOCK, INPUT_LOW, block * BLOCK_US)
            taken_ms[name] = 1e3 * (time.process_time() - started_s) / seconds * SPEED_S
        worst = max(taken_ms, key=taken_ms.__getitem__)
        median_ms = statistics.median(taken_ms.values())
        print(
            f"{check}: {SPEED_S} s take {median_ms:.0f} ms (median of kinds), {taken_ms[worst]:.0f} ms ({worst})"
        )


def runner_of(name: str) -> Any:
    """The context manager that `MODULE:NAME` names."""
    module, _, attribute = name.partition(":")
    try:
        return getattr(importlib.import_module(module), attribute)
    except (ImportError, AttributeError, ValueError) as problem:
        sys.exit(f"no runner {name} ({problem}); nothing was read. Name one as MODULE:NAME")


def word_of(check: str, said: Any) -> str:
    """The word of a verdict that came as a word, a number, or a reading's values."""
    said = said["verdict"] if isinstance(said, dict) else said
    return said if isinstance(said, str) else WORDS[check][said]


def hear(check: str, scene: Any, read: Any, rates: Rates) -> list[str]:
    """One scene through the probe; returns a line for each judgement that is neither right nor accepted."""
    said = read(scene)
    if isinstance(scene, Story):
        words = [word_of(check, each) for each in said][: len(scene.truths)]
        pairs = list(zip(scene.truths, [*words, *["retry"] * (len(scene.truths) - len(words))], strict=True))
    else:
        pairs = [(scene.truth, word_of(check, said))]
    judged = [(rates.add(scene.kind, truth, word), word) for truth, word in pairs]
    place = f"--check {check} --seed {scene.seed} --index {scene.index}"
    return [f"{judgement}: {scene.kind} said {word}; {place}" for judgement, word in judged if bad(judgement)]


def bad(judgement: str) -> bool:
    """Whether it is worth a line."""
    return judgement not in (RIGHT, ACCEPTED)


def indices(kinds: Kinds, args: argparse.Namespace) -> list[int]:
    """The numbers of the scenes that are asked for."""
    if args.index is not None:
        return [args.index]
    rounds = args.rounds or (SHORT_ROUNDS if args.short else FULL_ROUNDS)
    names = list(kinds)
    return [i for i in range(rounds * len(names)) if args.kind in (None, names[i % len(names)])]


def run(check: str, args: argparse.Namespace, seed: int) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """All scenes of a check; its figures, and what is kept beside them."""
    kinds, make = CHECKS[check]
    rates = Rates(*((BUMPER_BOUNDS, bumper_events) if check == "bumper" else (LISTEN_BOUNDS, listen_events)))
    failures: list[str] = []
    with runner_of(args.runner)() as read:
        for index in indices(kinds, args):
            failures += hear(check, make(seed, index), read, rates)
    figures = [figure | {"name": f"{check}: {figure['name']}"} for figure in rates.figures()]
    beyond = rates.kinds_beyond()
    figures.append(
        {
            "name": f"{check}: kinds beyond ten times a bound",
            "value": len(beyond),
            "bound": "= 0",
            "holds": not beyond,
        }
    )
    kept = {"kinds": rates.judgements, "beyond": beyond, "failures": failures[:SHOWN_FAILURES]}
    return figures, {check: kept}


def main(line: list[str] | None = None) -> None:
    """The command."""
    args = arguments(line)
    checks = args.check or list(CHECKS)
    if args.list:
        print_list(checks)
        return
    seed = secrets.randbelow(1 << 31) if args.seed is None else args.seed
    if args.speed:
        print_speed(checks, seed)
        return
    if not args.runner:
        sys.exit("no runner: the scenes were not heard. Name one with --runner MODULE:NAME, or use --list")
    started_s = time.monotonic()
    figures: list[dict[str, Any]] = []
    kept: dict[str, Any] = {}
    for check in checks:
        more, detail = run(check, args, seed)
        figures, kept = figures + more, kept | detail
    if not args.json:
        print(f"seed {seed}")
        for figure in figures:
            print(f"{'holds ' if figure['holds'] else 'FAILS '} {figure}")
    holds = all(figure["holds"] for figure in figures)
    seconds = round(time.monotonic() - started_s, 1)
    print(json.dumps({"holds": holds, "figures": figures, "seed": seed, "seconds": seconds, **kept}))
    sys.exit(0 if holds else 1)


if __name__ == "__main__":
    main()
