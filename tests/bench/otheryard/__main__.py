"""The second yard, heard by the probe's firmware: `python -m tests.bench.otheryard --json [--seed N] [--short]`.

`--list` prints the kinds of scenes; `--only CHECK` and `--kinds A,B` choose among them. Every kind has as many scenes
as any other, `--rounds` of them.

Each lie and each refusal is listed as KIND:SEED:INDEX. To replay it, whatever kinds have come since:

    python -m tests.bench.otheryard --replay KIND:SEED:INDEX

It prints the truth, the verdict with its reasons and figures, the bursts that were sent and those that were heard.

A runner is what lets a probe hear a scene: `--runner MODULE:NAME` names a context manager that gives a function from a
Scene to the reading's values (`verdict`: a word of names.VERDICTS or its number), or for the seal and the hiss check
from a Story to the list of its sections' values, None where a section got no verdict.
"""

import argparse
import json
import secrets
import statistics
import sys
import time
from typing import Any

from curbtick_wire.names import INPUT_LOW

from tests.bench.otheryard import show
from tests.bench.otheryard.catalog import CHECKS
from tests.bench.otheryard.rates import BUMPER_BOUNDS, LISTEN_BOUNDS, Rates, bumper_events, listen_events
from tests.bench.otheryard.run import Job, Said, hear_all, hear_beside, runner_of, scene_of, shared
from tests.bench.otheryard.truth import ACCEPTED, REFUSED, RIGHT, WRONG

FIRMWARE = "tests.bench.hearing.firmware:probe"
# How many scenes of each kind a short and a full run has.
ROUNDS = {"bumper": (4, 120), "seal": (2, 40), "hiss": (2, 40)}
FEW = 8
SHOWN_MILD = 60
SPEED_S = 1.4
BLOCK, BLOCK_US = 1024, 4096


def arguments(line: list[str] | None) -> argparse.Namespace:
    """The command line; the process's own where none is given."""
    parser = argparse.ArgumentParser(description="readings in a yard made by other hands")
    parser.add_argument("--list", action="store_true", help="print the kinds of scenes with their truths")
    parser.add_argument(
        "--only", choices=list(CHECKS), action="append", help="only this check; may be repeated"
    )
    parser.add_argument("--kinds", help="only these kinds, with commas between them")
    parser.add_argument(
        "--replay", metavar="KIND:SEED:INDEX", help="hear one scene again and tell all about it"
    )
    parser.add_argument("--runner", default=FIRMWARE, help="MODULE:NAME of another probe than the firmware")
    parser.add_argument("--rounds", type=int, help="how many scenes of each kind")
    parser.add_argument("--seed", type=int, help="seed of every random choice; a fresh one if not given")
    parser.add_argument("--short", action="store_true", help="few scenes of each kind, held to plain shares")
    parser.add_argument(
        "--speed", action="store_true", help="print how long it takes to make a scene of each kind"
    )
    parser.add_argument("--json", action="store_true", help="nothing but the JSON line on stdout")
    return parser.parse_args(line)


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


def kinds_asked(check: str, args: argparse.Namespace) -> list[str]:
    """The kinds of a check that are asked for, in the order of the list."""
    asked = args.kinds.split(",") if args.kinds else None
    return [kind for kind in CHECKS[check][0] if asked is None or kind in asked]


def checks_asked(args: argparse.Namespace) -> list[str]:
    """The checks that are asked for; the process ends where a kind is in none of them."""
    checks = args.only or list(CHECKS)
    known = {kind for check in checks for kind in CHECKS[check][0]}
    unknown = set(args.kinds.split(",")) - known if args.kinds else set()
    if unknown:
        sys.exit(f"no kind {', '.join(sorted(unknown))}; nothing was read. `--list` prints the kinds")
    return [check for check in checks if kinds_asked(check, args)]


def counted(check: str, heard: list[Said]) -> tuple[Rates, list[str]]:
    """The rates, and a line for each judgement that is neither right nor accepted, the false verdicts first."""
    rates = Rates(*((BUMPER_BOUNDS, bumper_events) if check == "bumper" else (LISTEN_BOUNDS, listen_events)))
    false: list[str] = []
    mild: list[str] = []
    for said in sorted(heard, key=lambda said: list(CHECKS[check][0]).index(said.kind)):
        judgement = rates.add(said.kind, said.truth, said.word)
        if judgement not in (RIGHT, ACCEPTED):
            line = f"{judgement}: {said.place} said {said.word} ({', '.join(said.reasons)})"
            (mild if judgement in (REFUSED, WRONG) else false).append(line)
    return rates, false + mild[:SHOWN_MILD]


def run(check: str, args: argparse.Namespace, seed: int) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """All scenes of a check; its figures, and what is kept beside them."""
    rounds = args.rounds or ROUNDS[check][0 if args.short else 1]
    runner_of(args.runner)
    scenes = tuple((kind, index) for index in range(rounds) for kind in kinds_asked(check, args))
    job = Job(args.runner, check, seed, scenes)
    heard = hear_all(job) if len(scenes) <= FEW else hear_beside(shared(job))
    rates, failures = counted(check, heard)
    figures = [figure | {"name": f"{check}: {figure['name']}"} for figure in rates.figures(args.short)]
    beyond = rates.kinds_beyond()
    figures.append(
        {
            "name": f"{check}: kinds beyond ten times a bound",
            "value": len(beyond),
            "bound": "= 0",
            "holds": not beyond,
        }
    )
    if not args.json:
        show.print_rates(check, rates)
        print("\n".join(failures))
    kept = {"kinds": rates.by_kind(), "beyond": beyond, "failures": failures}
    return figures, {check: kept}


def replay(place: str, runner: str) -> None:
    """Hear one scene again and tell all about it."""
    try:
        kind, seed, index = place.split(":")
        numbers = int(seed), int(index)
    except ValueError:
        sys.exit(f"{place} is not KIND:SEED:INDEX, as a run lists them; nothing was read")
    check = next((check for check, (kinds, _) in CHECKS.items() if kind in kinds), None)
    if check is None:
        sys.exit(f"no kind {kind}; nothing was read. `--list` prints the kinds")
    scene = scene_of(check, kind, *numbers)
    with runner_of(runner)() as read:
        show.print_replay(check, scene, read(scene))


def main(line: list[str] | None = None) -> None:
    """The command."""
    args = arguments(line)
    checks = checks_asked(args)
    if args.list:
        show.print_list(checks)
        return
    if args.replay:
        replay(args.replay, args.runner)
        return
    seed = secrets.randbelow(1 << 31) if args.seed is None else args.seed
    print(f"seed {seed}", file=sys.stderr, flush=True)
    if args.speed:
        print_speed(checks, seed)
        return
    started_s = time.monotonic()
    figures: list[dict[str, Any]] = []
    kept: dict[str, Any] = {}
    for check in checks:
        more, detail = run(check, args, seed)
        figures, kept = figures + more, kept | detail
    if not args.json:
        for figure in figures:
            print(f"{'holds ' if figure['holds'] else 'FAILS '} {figure}")
    holds = all(figure["holds"] for figure in figures)
    seconds = round(time.monotonic() - started_s, 1)
    print(json.dumps({"holds": holds, "figures": figures, "seed": seed, "seconds": seconds, **kept}))
    sys.exit(0 if holds else 1)


if __name__ == "__main__":
    main()
