"""All kinds of the three checks, and the scene of a seed and an index."""

from typing import Any

import numpy as np

from tests.bench.otheryard.bumper import beside, faulty, healthy, instrument, mixed, silent
from tests.bench.otheryard.jet import kinds as jet_kinds
from tests.bench.otheryard.kinds import Draft, Kinds
from tests.bench.otheryard.scene import Scene, Stream
from tests.bench.otheryard.seal import kinds as seal_kinds
from tests.bench.otheryard.story import Story, Tale

BUMPER: Kinds = {
    **healthy.KINDS,
    **faulty.KINDS,
    **silent.KINDS,
    **beside.KINDS,
    **instrument.KINDS,
    **mixed.KINDS,
}


def generator(seed: int, index: int, check: str) -> np.random.Generator:
    """The only source of chance of a scene."""
    return np.random.default_rng([seed, index, sum(map(ord, check))])


def kind_at(kinds: Kinds, index: int) -> str:
    """Kinds come in turn, so that each has an equal share of any run."""
    names = list(kinds)
    return names[index % len(names)]


def bumper_scene(seed: int, index: int, kind: str | None = None) -> Scene:
    """The scene of (seed, index); its kind follows from the index unless one is asked."""
    name = kind or kind_at(BUMPER, index)
    draft: Draft = BUMPER[name].make(generator(seed, index, name))
    note: dict[str, Any] = {"kind": name, **draft.note}
    stream = Stream(draft.sources, draft.unit)
    return Scene(name, seed, index, draft.class_khz, draft.truth, stream, draft.centre_hz, draft.before, note)


def seal_story(seed: int, index: int, kind: str | None = None) -> Story:
    """The seal check's story of (seed, index)."""
    return _story("seal", seal_kinds.KINDS, seed, index, kind)


def hiss_story(seed: int, index: int, kind: str | None = None) -> Story:
    """The hiss check's story of (seed, index)."""
    return _story("hiss", jet_kinds.KINDS, seed, index, kind)


def _story(check: str, kinds: Kinds, seed: int, index: int, kind: str | None) -> Story:
    name = kind or kind_at(kinds, index)
    tale: Tale = kinds[name].make(generator(seed, index, check + name))
    told = (tale.stream, tale.presses, tale.truths, tale.seconds, tale.tone_hz)
    return Story(name, seed, index, check, *told)


CHECKS = {
    "bumper": (BUMPER, bumper_scene),
    "seal": (seal_kinds.KINDS, seal_story),
    "hiss": (jet_kinds.KINDS, hiss_story),
}
