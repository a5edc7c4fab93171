"""Mutation run: are the tests of log, codec and doubles strong enough to notice each small change to them?

    python -m tests.bench.mutation [--short] [--seed N] [--json] [--module NAME] [--jobs N]

Every mutant (mutants.py) of a module is tried in a process of its own against that module's tests; one that
no test notices has survived. Every survivor must be judged in judged.json: why it makes no
difference, or why the difference is not worth a test. A survivor that is not judged fails the run, and so
does a judgement whose mutant no longer survives. First each module's tests must pass on the module as it is, or a
mutant noticed would mean nothing.
"""

import ast
import gc
import importlib.abc
import importlib.util
import json
import os
import random
import resource
import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import hypothesis
import pytest

from tests.bench import _common
from tests.bench.mutation.mutants import Mutant, mutants
from tests.paths import ROOT

JUDGED = Path(__file__).with_name("judged.json")
CPU_MAX_S = 10
SHORT_SHARE = 12
_UNIT = "tests/unit/probe/"
_LOG = tuple(f"{_UNIT}store/test_{name}.py" for name in ("log", "recovery", "full", "scan"))


@dataclass(frozen=True)
class Target:
    """A module under mutation: its name when imported, its source, and the tests that must notice."""

    name: str
    path: str
    tests: tuple[str, ...]


_PROBE = "firmware/curbtick_probe/"
TARGETS = (
    Target("curbtick_probe.store.log", f"{_PROBE}store/log.py", _LOG),
    Target("curbtick_probe.store.scan", f"{_PROBE}store/scan.py", (_LOG[3], _LOG[1], _LOG[0])),
    Target("curbtick_probe.store.shelf", f"{_PROBE}store/shelf.py", (f"{_UNIT}store/test_shelf.py", *_LOG)),
    Target(
        "curbtick_probe.store.room",
        f"{_PROBE}store/room.py",
        (f"{_UNIT}store/test_room.py", _LOG[2], _LOG[1]),
    ),
    Target("curbtick_probe.store.state", f"{_PROBE}store/state.py", (_LOG[1], _LOG[2])),
    Target(
        "curbtick_probe.store.slots",
        f"{_PROBE}store/slots.py",
        tuple(
            f"{_UNIT}store/slots/test_{name}.py" for name in ("slots", "clock", "keys", "limits", "rounds")
        ),
    ),
    Target(
        "curbtick_wire.codec",
        "protocol/curbtick_wire/codec.py",
        (f"{_UNIT}store/test_codec.py", "tests/unit/wire/test_codec.py"),
    ),
    Target(
        "curbtick_probe.bumper.verdict",
        f"{_PROBE}bumper/verdict.py",
        (f"{_UNIT}bumper/test_verdict.py",),
    ),
    Target(
        "curbtick_probe.bumper.result",
        f"{_PROBE}bumper/result.py",
        (f"{_UNIT}bumper/test_results.py",),
    ),
    *(
        Target(
            f"curbtick_probe.bumper.trains.{name}",
            f"{_PROBE}bumper/trains/{name}.py",
            tuple(f"{_UNIT}bumper/test_{tests}.py" for tests in ("train", "cycle", "uneven")),
        )
        for name in ("train", "cycle", "gaps", "quicker", "silence", "siblings")
    ),
    Target("torn_flash", "tests/faults/torn_flash.py", ("tests/faults/test_torn_flash.py",)),
)


class _Loader(importlib.abc.Loader, importlib.abc.MetaPathFinder):
    """Gives the mutant's code where its module is imported."""

    def __init__(self, target: Target, mutant: Mutant) -> None:
        self._target, self._mutant = target, mutant

    def find_spec(self, name: str, _path: object, _module: object = None) -> Any:
        """The module under mutation, and no other."""
        if name != self._target.name:
            return None
        return importlib.util.spec_from_loader(name, self, origin=self._target.path)

    def exec_module(self, module: ModuleType) -> None:
        """Run the mutant as the module."""
        exec(compile(self._mutant.code, self._target.path, "exec"), module.__dict__)


# Few examples, and no search for the smallest one: that a mutant is noticed is all that counts here.
hypothesis.settings.register_profile(
    "mutation",
    max_examples=25,
    deadline=None,
    database=None,
    derandomize=True,
    phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
)


def _run_tests(target: Target, mutant: Mutant) -> int:
    """In a child process: pytest's exit code with the mutant in place."""
    sys.meta_path.insert(0, _Loader(target, mutant))
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_MAX_S, CPU_MAX_S))
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    plugins = ["no:cacheprovider", "no:unraisableexception", "_hypothesis_pytestplugin"]
    options = ["-o", "addopts=", "--assert=plain", *(f"-p{name}" for name in plugins)]
    return int(pytest.main(["-x", "-q", *options, "--hypothesis-profile=mutation", *target.tests]))


def survives(target: Target, mutant: Mutant) -> bool:
    """Whether all tests pass on a mutant. An endless loop is stopped and counts as noticed."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = _run_tests(target, mutant)
        finally:
            os._exit(code)
    _pid, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) == 0


def _unchanged(target: Target) -> Mutant:
    """The module as it is."""
    code = ast.parse((ROOT / target.path).read_text())
    return Mutant(target.name, 0, "", code)


def try_all(target: Target, chosen: Sequence[Mutant], jobs: int) -> list[Mutant]:
    """The survivors, each told on the error output when it is found, and how far the run has come.

    Raises RuntimeError where the tests do not pass on the module as it is.
    """
    if not survives(target, _unchanged(target)):
        raise RuntimeError(f"the tests of {target.name} do not pass as they are")
    alive = []
    # The trees of all mutants are the parent's: a child need not look through them for garbage.
    gc.freeze()
    with ThreadPoolExecutor(max_workers=jobs) as pool:
        outcomes = pool.map(lambda mutant: survives(target, mutant), chosen)
        for number, (mutant, lives) in enumerate(zip(chosen, outcomes, strict=True), 1):
            if lives:
                alive.append(mutant)
                sys.stderr.write(f"{number}/{len(chosen)} survived: {mutant.name} ({mutant.text})\n")
    return alive


def choose(target: Target, short: bool, dice: random.Random) -> list[Mutant]:
    """All mutants of a module, or one of every SHORT_SHARE for a short run."""
    source = (ROOT / target.path).read_text()
    everything = list(mutants(target.name, source))
    return dice.sample(everything, max(1, len(everything) // SHORT_SHARE)) if short else everything


def main() -> None:
    """Run the benchmark."""
    options = _common.arguments(
        __doc__ or "",
        ("--module", {"help": "only this module, such as curbtick_probe.store.room"}),
        ("--jobs", {"type": int, "default": 2, "help": "mutants at a time"}),
    )
    os.chdir(ROOT)
    dice = random.Random(options.seed)
    judged: dict[str, str] = json.loads(JUDGED.read_text())
    tried: list[str] = []
    alive: list[Mutant] = []
    for target in TARGETS:
        if options.module in (None, target.name):
            chosen = choose(target, options.short, dice)
            tried += [mutant.name for mutant in chosen]
            alive += try_all(target, chosen, options.jobs)
    names = {mutant.name for mutant in alive}
    unjudged = [
        f"{mutant.name} (line {mutant.line}: {mutant.text})" for mutant in alive if mutant.name not in judged
    ]
    stale = [name for name in judged if name in tried and name not in names]
    noticed = 1 - len(alive) / len(tried)
    _common.report(
        [
            _common.figure("survivors_not_judged", len(unjudged), "== 0", not unjudged),
            _common.figure("judgements_that_are_stale", len(stale), "== 0", not stale),
            _common.figure("share_noticed", round(noticed, 4), ">= 0.9", noticed >= 0.9),
        ],
        options,
        mutants=len(tried),
        survivors={mutant.name: judged.get(mutant.name, "not judged") for mutant in alive},
        not_judged=unjudged,
        stale=stale,
    )


if __name__ == "__main__":
    main()
