"""For the detector's tests: made-up sounds, sorted on CPython, and a virtual probe that takes readings.

Levels are hundredths of dBFS, times are from the reading's first sample.
"""

import json
import queue
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace, TracebackType
from typing import Any, Self

import numpy as np
from curbtick.virtual.probe.bus import Ear
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.scenes.build import FACTORY_CLASSES
from curbtick_wire import codec, names, records, settings

SCRIPT = Path(__file__).with_name("reading_script.py")
LIMIT_SET: dict[str, int] = dict(settings.FACTORY_SET)
LISTENED_US = 1_290_000
# Stalls that last no time but need memory, or more of the stack than there is.
NO_MEMORY, NO_STACK = -1, -2
COLUMNS = (
    "time_us",
    "level_cdb",
    "frequency_hz",
    "sweep_hz",
    "length_us",
    "ringdown_us",
    "evidence_cdb",
)

# What the evidence of a reading says, under the names of these tests: (name, part of Evidence, field of it).
PLACES = (
    *(
        (name, "train", name)
        for name in ("count", "first_us", "last_us", "level_cdb", "frequency_hz", "sweep_hz")
    ),
    *(
        (name, "train", name)
        for name in ("burst_us", "ringdown_us", "ringdown_most_us", "spread_cdb", "top_cdb")
    ),
    *((name, "train", name) for name in ("rivals", "strays", "loudest_cdb", "pair_us")),
    *((name, "cycle", name) for name in ("due", "interval_us", "timing")),
    ("siblings", "siblings", "count"),
    ("sibling_due", "siblings", "due"),
    ("sibling_interval_us", "siblings", "interval_us"),
    ("sibling_clear", "siblings", "clear"),
    ("sibling_cdb", "siblings", "level_cdb"),
    ("sibling_hz", "siblings", "frequency_hz"),
    ("faint_score", "siblings", "score"),
    ("ticks", "siblings", "ticks"),
    ("others", "siblings", "others"),
    ("repeating", "siblings", "repeating"),
    ("is_quicker", "", "is_quicker"),
    ("loud_cdb", "", "loud_cdb"),
    ("loud_us", "", "loud_us"),
)


@dataclass(frozen=True)
class Sound:
    """One sound as `listen` would note it; by default a clear burst of a healthy 48 kHz sensor."""

    time_us: int
    level_cdb: int = -800
    frequency_hz: int = 48_000
    sweep_hz: int = 0
    length_us: int = 600
    ringdown_us: int = 500
    evidence_cdb: int = 6000


def limits_of(class_khz: int = 48, **changed: int) -> dict[str, int]:
    """The factory limits of a class, some of them changed."""
    return {**FACTORY_CLASSES[class_khz], **changed}


def every(
    interval_us: int, first_us: int = 50_000, until_us: int = LISTENED_US, **fields: int
) -> list[Sound]:
    """One sound every interval_us from first_us on, as long as it would be over within until_us."""
    return [Sound(time_us, **fields) for time_us in range(first_us, until_us - 5000, interval_us)]


def faint(interval_us: int, first_us: int, evidence_cdb: int = 2000, **fields: int) -> list[Sound]:
    """A sibling's train, 40 dB below the held sensor's."""
    return every(interval_us, first_us, **{"level_cdb": -4800, "evidence_cdb": evidence_cdb, **fields})


def shifted(sounds: Iterable[Sound], by_us: int, loss_cdb: int) -> list[Sound]:
    """The same sounds later and weaker, as an echo brings them."""
    return [
        replace(
            s,
            time_us=s.time_us + by_us,
            level_cdb=s.level_cdb - loss_cdb,
            evidence_cdb=s.evidence_cdb - loss_cdb,
        )
        for s in sounds
    ]


def filled(sounds: Iterable[Sound]) -> Any:
    """The firmware's Sounds with these in it, in time order."""
    from curbtick_probe.bumper.trains.sounds import Sounds

    held = Sounds()
    for sound in sorted(sounds, key=lambda s: s.time_us):
        row = held.claim(sound.evidence_cdb, sound.time_us)
        for name in COLUMNS:
            getattr(held, name)[row] = getattr(sound, name)
    return held


def part_of(heard: Any, name: str) -> Any:
    """A part of the evidence; itself for no name."""
    return getattr(heard, name) if name else heard


def train_of(sounds: Iterable[Sound], listened_us: int = LISTENED_US, class_khz: int = 48) -> Any:
    """What the firmware finds in these sounds, by PLACES, with `kinds`, of every sound in time order, and `heard`."""
    from curbtick_probe.bumper.trains.evidence import Evidence

    held = filled(sounds)
    heard = Evidence()
    heard.sort(held, limits_of(class_khz), listened_us)
    found = {name: getattr(part_of(heard, part), field) for name, part, field in PLACES}
    return SimpleNamespace(**found, kinds=list(held.kind[: held.count]), heard=heard)


def evidence_of(**fields: int) -> Any:
    """The firmware's Evidence with these fields, by PLACES; the rest as after nothing was heard."""
    from curbtick_probe.bumper.trains.evidence import Evidence

    heard = Evidence()
    places = {name: (part, field) for name, part, field in PLACES}
    for name, value in fields.items():
        part, field = places[name]
        setattr(part_of(heard, part), field, value)
    return heard


def ruled(heard: Any, limits: dict[str, int] | None = None, **asked: Any) -> tuple[int, list[str], list[str]]:
    """The firmware's (verdict, reasons, proofs) on evidence, or on what train_of found.

    asked: noise_cdb (a quiet -55 dBFS unless given), live, before_us, and fields of the limit set.
    """
    from curbtick_probe.bumper import verdict

    noise_cdb = asked.pop("noise_cdb", -5500)
    live, before_us = asked.pop("live", True), asked.pop("before_us", 0)
    ruling = verdict.Ruling()
    limit_set = {**LIMIT_SET, **asked}
    heard = getattr(heard, "heard", heard)
    verdict.decide(ruling, heard, limits or limits_of(), limit_set, noise_cdb, live, before_us)
    return (
        ruling.verdict,
        names.words_of(names.REASONS, ruling.reasons),
        names.words_of(names.PROOFS, ruling.proofs),
    )


@dataclass(frozen=True)
class Reading:
    """What one reading left in the log, as the bench decodes it.

    took_us: simulated time from press to verdict; heard: every sound, also those not worth logging, by column.
    unlocked_blocks: how many blocks were taken with the heap unlocked; locked_after: how deep it stayed locked.
    """

    values: dict[str, Any]
    snippet: tuple[dict[str, Any], bytes] | None
    sounds: tuple[tuple[dict[str, Any], bytes], ...]
    took_us: int
    heard: dict[str, list[int]]
    unlocked_blocks: int
    locked_after: int

    @property
    def verdict(self) -> int:
        """The verdict's number."""
        return int(self.values["verdict"])

    @property
    def reasons(self) -> list[str]:
        """The reasons' words."""
        return names.words_of(names.REASONS, self.values["reasons"])

    @property
    def proofs(self) -> list[str]:
        """The proofs' words."""
        return names.words_of(names.PROOFS, self.values["proofs"])


class Prober:
    """A MicroPython process with the real firmware that takes one reading after another, and sorts made-up sounds."""

    def __init__(self) -> None:
        self._asks: queue.Queue[bytes] = queue.Queue()
        self._answers: queue.Queue[bytes] = queue.Queue()
        self._ear: Ear | None = None
        self._base_us = 0
        self._start_us = 0
        self._probe = VirtualProbe(self, script=SCRIPT, heap_kb=1000, on_ask=self._exchange)
        self._answer()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the process."""
        self._asks.put(b"null")
        self._probe.close()

    def read(self, count: int, input: int, start_us: int) -> np.ndarray:
        """What the ear of the current reading hears, its time counted from the reading's first sample."""
        assert self._ear is not None
        if self._base_us < 0:
            self._base_us = start_us
        return self._ear.read(count, input, start_us - self._base_us + self._start_us)

    def take(
        self,
        ear: Ear,
        class_khz: int = 48,
        *,
        start_us: int = 0,
        stall: tuple[int, int] = (-1, 0),
        stalled_input: int = names.INPUT_LOW,
        **asked: Any,
    ) -> Reading:
        """Take one reading.

        start_us: where on the ear's axis; stall: (before which block of stalled_input, for how many us) something else
        keeps the probe busy, or NO_MEMORY, NO_STACK; asked: before_us, limits, and fields of the limit set.
        Raises ProbeStoppedError with the traceback where the firmware raises.
        """
        self._ear, self._base_us, self._start_us = ear, -1, start_us
        answer = self._ask(
            {
                "do": "take",
                "columns": COLUMNS,
                "limits": asked.pop("limits", None) or limits_of(class_khz),
                "before_us": asked.pop("before_us", 0),
                "limit_set": {**LIMIT_SET, **asked},
                "stall": stall,
                "stalled_input": stalled_input,
            }
        )
        parts = [codec.decode_record(bytes.fromhex(text)) for text in answer["records"]]
        by_kind = [(part["kind"], (part["values"], part["tail"])) for part in parts]
        snippets = [part for kind, part in by_kind if kind == records.SNIPPET]
        return Reading(
            values=by_kind[0][1][0],
            snippet=snippets[0] if snippets else None,
            sounds=tuple(part for kind, part in by_kind if kind == records.SOUNDS),
            took_us=answer["took_us"],
            heard=answer["heard"],
            unlocked_blocks=answer["unlocked_blocks"],
            locked_after=answer["locked_after"],
        )

    def sort(self, sounds: Iterable[Sound], listened_us: int = LISTENED_US) -> dict[str, Any]:
        """Sort sounds into trains; what is found, by PLACES, and the sounds' kinds."""
        rows = [[getattr(s, name) for name in COLUMNS] for s in sorted(sounds, key=lambda s: s.time_us)]
        asked = {"do": "sort", "columns": COLUMNS, "rows": rows, "listened_us": listened_us}
        return self._ask({**asked, "limits": limits_of(), "places": PLACES})

    def _ask(self, request: dict[str, Any]) -> dict[str, Any]:
        self._asks.put(json.dumps(request).encode())
        answer: dict[str, Any] = json.loads(self._answer())
        return answer

    def _answer(self) -> bytes:
        for _ in range(1200):
            try:
                return self._answers.get(timeout=0.1)
            except queue.Empty:
                if not self._probe.running:
                    self._probe.wait_exit()
                    raise AssertionError(self._probe.stderr_text()) from None
        raise AssertionError("the probe took longer than 120 s for one reading")

    def _exchange(self, payload: bytes) -> bytes:
        self._answers.put(payload)
        return self._asks.get()


class Lasting:
    """One Prober for many tests; a new one where the last has failed."""

    def __init__(self) -> None:
        self._prober: Prober | None = None

    def __call__(self, use: Callable[[Prober], Any]) -> Any:
        """Use the prober; whatever it raises ends it."""
        self._prober = self._prober or Prober()
        try:
            return use(self._prober)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """End the process, if there is one."""
        if self._prober is not None:
            self._prober.close()
            self._prober = None


class Codes:
    """An ear that hears given codes, over and over."""

    def __init__(self, codes: np.ndarray) -> None:
        self._codes = np.ascontiguousarray(codes, dtype=np.uint16)

    def read(self, count: int, input: int, start_us: int) -> np.ndarray:
        """The codes from start_us on."""
        return np.take(self._codes, np.arange(start_us // 4, start_us // 4 + count), mode="wrap")


class Inputs:
    """An ear that hears one stream on the low and the padded input, and another on the high one."""

    def __init__(self, low: np.ndarray, high: np.ndarray) -> None:
        self._low, self._high = Codes(low), Codes(high)

    def read(self, count: int, input: int, start_us: int) -> np.ndarray:
        """The codes of an input from start_us on."""
        heard = self._high if input == names.INPUT_HIGH else self._low
        return heard.read(count, input, start_us)
