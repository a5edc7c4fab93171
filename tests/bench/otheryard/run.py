"""Scenes through a runner: which, in how many processes, and what was said of each."""

import importlib
import sys
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

from curbtick_wire.names import HISS_VERDICTS, REASONS, SEAL_VERDICTS, VERDICTS, words_of

from tests.bench.otheryard.catalog import CHECKS
from tests.bench.otheryard.story import Story
from tests.bench.otheryard.truth import Truth

WORDS = {"bumper": VERDICTS, "seal": SEAL_VERDICTS, "hiss": HISS_VERDICTS}
WORKERS = 2


@dataclass(frozen=True)
class Job:
    """Scenes to be heard in one process: (kind, index) pairs of a check."""

    runner: str
    check: str
    seed: int
    scenes: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Said:
    """What was said of a reading, or of one section of a story, beside the truth; `place` replays it."""

    kind: str
    place: str
    truth: Truth
    word: str
    reasons: tuple[str, ...]


def runner_of(name: str) -> Any:
    """The context manager that `MODULE:NAME` names."""
    module, _, attribute = name.partition(":")
    try:
        return getattr(importlib.import_module(module), attribute)
    except (ImportError, AttributeError, ValueError) as problem:
        sys.exit(f"no runner {name} ({problem}); nothing was read. Name one as MODULE:NAME")


def scene_of(check: str, kind: str, seed: int, index: int) -> Any:
    """The scene that a place names; the same one whatever other kinds there are."""
    return CHECKS[check][1](seed, index, kind)


def word_of(check: str, said: Any) -> str:
    """The word of a verdict that came as a word, a number, a record's values, or as None: a section not judged."""
    said = said["verdict"] if isinstance(said, dict) else said
    if said is None:
        return "retry"
    return said if isinstance(said, str) else WORDS[check][said]


def reasons_of(said: Any) -> tuple[str, ...]:
    """The reasons of a record's values, where it has any."""
    return tuple(words_of(REASONS, said.get("reasons", 0))) if isinstance(said, dict) else ()


def sections_of(scene: Any, said: Any) -> list[tuple[Truth, Any]]:
    """Each truth of a scene with what was said of it."""
    if not isinstance(scene, Story):
        return [(scene.truth, said)]
    missing = [None] * (len(scene.truths) - len(said))
    return list(zip(scene.truths, [*said, *missing], strict=True))


def hear(check: str, scene: Any, read: Any) -> list[Said]:
    """One scene through a probe."""
    place = f"{scene.kind}:{scene.seed}:{scene.index}"
    return [
        Said(scene.kind, place, truth, word_of(check, each), reasons_of(each))
        for truth, each in sections_of(scene, read(scene))
    ]


def hear_all(job: Job) -> list[Said]:
    """All scenes of a job, through one probe."""
    with runner_of(job.runner)() as read:
        heard = (
            hear(job.check, scene_of(job.check, kind, job.seed, index), read) for kind, index in job.scenes
        )
        return [each for said in heard for each in said]


def hear_beside(jobs: Iterable[Job]) -> list[Said]:
    """The same of several jobs, side by side in processes of their own."""
    with ProcessPoolExecutor(WORKERS) as pool:
        return [each for said in pool.map(hear_all, jobs) for each in said]


def shared(job: Job) -> list[Job]:
    """A job in WORKERS parts, the kinds spread evenly."""
    parts = [job.scenes[n::WORKERS] for n in range(WORKERS)]
    return [Job(job.runner, job.check, job.seed, part) for part in parts if part]
