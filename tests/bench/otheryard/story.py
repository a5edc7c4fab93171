"""What the two other checks are: a stream, the presses of the buttons in it, and a truth for each section."""

from dataclasses import dataclass, field
from typing import Any

from tests.bench.otheryard.scene import Stream
from tests.bench.otheryard.truth import Truth, judge
from tests.bench.otheryard.types import Codes

# A press of READ and a hold of READ; to hold is 0.7 s (hardware_notes/panel.md).
PRESS, HOLD = "press_read", "hold_read"


@dataclass(frozen=True)
class Press:
    """A gesture `at_s` after the stream's first sample, and what it means to the technician."""

    at_s: float
    gesture: str
    means: str


@dataclass
class Story:
    """A scene of the seal or the hiss check. `truths` are those of the sections, in the order of their ends."""

    kind: str
    seed: int
    index: int
    check: str
    stream: Stream
    presses: list[Press]
    truths: list[Truth]
    seconds: float
    tone_hz: float = 0.0
    note: dict[str, Any] = field(default_factory=dict)

    def read(self, count: int, input_: int, start_us: int) -> Codes:
        """Samples of an input; see Stream.read."""
        return self.stream.read(count, input_, start_us)

    def judge(self, outcomes: list[str]) -> list[str]:
        """A judgement for each section; a section without a verdict counts as RETRY."""
        missing = ["retry"] * (len(self.truths) - len(outcomes))
        return [judge(truth, said) for truth, said in zip(self.truths, [*outcomes, *missing], strict=True)]


@dataclass
class Tale:
    """What a kind of the seal or the hiss check draws: everything of a story but its name and number."""

    stream: Stream
    presses: list[Press]
    truths: list[Truth]
    seconds: float
    tone_hz: float = 0.0
