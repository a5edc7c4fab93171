"""A scene: what the converter delivers, in any input and at any time, and what is right to say about it."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from curbtick_wire.classes import CUSTOM, factory_classes

from tests.bench.otheryard.front.unit import Unit
from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.truth import Truth
from tests.bench.otheryard.types import F32, Codes, Source

PAGE = 8192
SAMPLE_US = 1_000_000 // RATE_HZ


@dataclass
class Air:
    """The sum of the sources, kept page by page: every input hears the same."""

    sources: list[Source]
    _pages: dict[int, F32] = field(default_factory=dict)

    def page(self, number: int) -> F32:
        """Pressure of one page, in full scales of the low input."""
        if number not in self._pages:
            if len(self._pages) > 16:
                self._pages.clear()
            page = np.zeros(PAGE, dtype=np.float32)
            for source in self.sources:
                source.add_to(page, number * PAGE)
            if not np.isfinite(page.sum()):
                raise FloatingPointError(
                    f"a source of this scene gives no number in page {number}: it is broken"
                )
            self._pages[number] = page
        return self._pages[number]


@dataclass
class Stream:
    """Codes of a probe that hears the sources. Its time begins with the first sample that is asked for."""

    sources: list[Source]
    unit: Unit
    _origin_us: int | None = None
    _codes: dict[tuple[int, int], Codes] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._air = Air(self.sources)

    def read(self, count: int, input_: int, start_us: int) -> Codes:
        """`count` samples (0..4095) of an input from an absolute time on, microseconds since the probe's start."""
        if self._origin_us is None:
            self._origin_us = start_us
        first = (start_us - self._origin_us) // SAMPLE_US
        if first < 0:
            raise ValueError(
                f"the scene began at {self._origin_us} us; {start_us} us lies before it: read forwards"
            )
        last = first + count - 1
        pages = [self._page(number, input_) for number in range(first // PAGE, last // PAGE + 1)]
        whole = pages[0] if len(pages) == 1 else np.concatenate(pages)
        return whole[first % PAGE : first % PAGE + count]

    def _page(self, number: int, input_: int) -> Codes:
        key = (number, input_)
        if key not in self._codes:
            if len(self._codes) > 16:
                self._codes.clear()
            self._codes[key] = self.unit.codes(self._air.page(number), number * PAGE, input_)
        return self._codes[key]


@dataclass(frozen=True)
class Before:
    """A reading of another place of the same bumper in this visit, which the probe has already taken: its values."""

    verdict: str
    level_dbfs: float
    frequency_hz: float
    interval_us: int


@dataclass
class Scene:
    """A reading of one place. `read` is all that the virtual probe needs; `truth` stands before it is asked."""

    kind: str
    seed: int
    index: int
    class_khz: int
    truth: Truth
    stream: Stream
    centre_hz: float
    before: Before | None = None
    note: dict[str, Any] = field(default_factory=dict)

    def read(self, count: int, input_: int, start_us: int) -> Codes:
        """Samples of an input; see Stream.read."""
        return self.stream.read(count, input_, start_us)

    @property
    def limits(self) -> dict[str, int]:
        """The limits of the sensor's class: the factory's row, and for a custom class the same around its centre."""
        rows = factory_classes()
        if self.class_khz == CUSTOM:
            return rows[0] | {"class_khz": CUSTOM, "centre_hz": round(self.centre_hz)}
        return next(row for row in rows if row["class_khz"] == self.class_khz)
