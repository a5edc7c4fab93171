"""From a recipe, what stands where and what is wrong with it, to an ear and its truth."""

from dataclasses import astuple, dataclass, field, replace

import numpy as np
from curbtick_wire import classes, settings

from curbtick.yard.air.acoustics import Air
from curbtick.yard.air.collar import Inside, Seat, reflections
from curbtick.yard.ear.ear import Ear
from curbtick.yard.ear.faults import HEALTHY, Fault
from curbtick.yard.ear.probe_state import ProbeState
from curbtick.yard.front_end.inputs import Adc, codes_of_peak_dbfs
from curbtick.yard.sounds.measured import BurstTruth, measure
from curbtick.yard.sounds.noise import Layer
from curbtick.yard.sounds.sensors import Sensor, burst
from curbtick.yard.sounds.sources import Fade, Source, regular
from curbtick.yard.sounds.waves import Wave, with_taps
from curbtick.yard.truth.judge import Answer, judge
from curbtick.yard.truth.truth import Heard, Truth, Window

FACTORY_CLASSES = {row["class_khz"]: row for row in classes.factory_classes()}


@dataclass(frozen=True)
class Echo:
    """A reflection from outside the collar: delay in microseconds, loss in dB against the direct sound."""

    delay_us: float
    loss_db: float


@dataclass(frozen=True)
class Neighbour:
    """A sibling as heard in the collar.

    sensor: as built.
    level_dbfs: its level in the collar.
    slot_share: when in the cycle it fires, 0..1.
    missing: share of its bursts that it leaves out.
    echoes: of its sound.
    """

    sensor: Sensor
    level_dbfs: float
    slot_share: float
    missing: float = 0.0
    echoes: tuple[Echo, ...] = ()


@dataclass(frozen=True)
class Recipe:
    """One position's scene.

    sensor: the held one as built, without its fault.
    level_dbfs: what it would read without its fault in this seat.
    fault: what is wrong with it.
    interval_ms: of the vehicle's cycle.
    phase_ms: when the held sensor's first burst starts on the absolute axis.
    jitter_us: of every burst, uniform, either way.
    echoes: of the held sensor, from outside the collar.
    neighbours: the bumper's other sensors.
    air: the weather.
    seat: how the collar sits.
    inside: the collar's own reflections.
    fade: a slip of the probe, None for none.
    layers: lasting noise.
    imposters: sounds that are not a sensor's.
    probe: what is wrong with the probe.
    adc: the converter.
    heard_before: whether this bumper had a PASS or WEAK earlier in the same visit.
    start_us: when READ is pressed.
    """

    sensor: Sensor
    level_dbfs: float = -8.0
    fault: Fault = HEALTHY
    interval_ms: float = 200.0
    phase_ms: float = 0.0
    jitter_us: float = 20.0
    echoes: tuple[Echo, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()
    air: Air = field(default_factory=Air)
    seat: Seat = field(default_factory=Seat)
    inside: Inside = field(default_factory=Inside)
    fade: Fade | None = None
    layers: tuple[Layer, ...] = ()
    imposters: tuple[Source, ...] = ()
    probe: ProbeState = field(default_factory=ProbeState)
    adc: Adc = field(default_factory=Adc)
    heard_before: bool = False
    start_us: int = 0


@dataclass(frozen=True)
class Scene:
    """An ear, the truth about it, and when READ is pressed (start_us)."""

    recipe: Recipe
    ear: Ear
    truth: Truth
    start_us: int

    def judge(
        self,
        end_us: float,
        limits_class: dict[str, int] | None = None,
        limit_set: dict[str, object] | None = None,
    ) -> Answer:
        """Return what a reading from start_us to end_us must say, by the factory limits unless others are given."""
        limits = limits_class or FACTORY_CLASSES[self.truth.class_khz]
        return judge(self.truth, Window(self.start_us, end_us), limits, limit_set or settings.FACTORY_SET)


def wave_in_collar(recipe: Recipe, sensor: Sensor, offset_hz: float = 0.0) -> tuple[Wave, BurstTruth]:
    """Return a sensor's burst with the collar's reflections, its level on the low input 0 dBFS, and its measures."""
    taps = reflections(recipe.inside, recipe.seat, recipe.air)
    wave = Wave(with_taps(burst(sensor, offset_hz), taps) * np.float32(codes_of_peak_dbfs(0.0)))
    truth = measure(wave.behind())
    return wave.scaled(10.0 ** (-truth.level_dbfs / 20.0)), replace(truth, level_dbfs=0.0)


def _median(bursts: list[BurstTruth]) -> BurstTruth:
    """Return the median burst of a sensor's variants; its ring-down's range is that of them all."""
    rows = np.array([astuple(b) for b in bursts])
    middle = BurstTruth(*(float(value) for value in np.median(rows, axis=0)))
    least_us = min(burst.ringdown_least_us for burst in bursts)
    return replace(
        middle, ringdown_least_us=least_us, ringdown_most_us=max(b.ringdown_most_us for b in bursts)
    )


def _held(recipe: Recipe, random: np.random.Generator) -> tuple[Source, BurstTruth]:
    sensor = recipe.fault.of(recipe.sensor)
    level_dbfs = recipe.level_dbfs - recipe.fault.loss_db
    variants = [wave_in_collar(recipe, sensor, offset_hz) for offset_hz in sensor.offsets_hz]
    source = regular(
        tuple(wave for wave, _ in variants),
        random,
        name="held",
        interval_ms=recipe.interval_ms,
        phase_ms=recipe.phase_ms,
        jitter_us=recipe.jitter_us,
        missing=recipe.fault.missing,
        pattern=recipe.fault.pattern,
    )
    source = replace(source.louder(level_dbfs), fade=recipe.fade)
    return source, replace(_median([truth for _, truth in variants]), level_dbfs=level_dbfs)


def _neighbour(recipe: Recipe, wave: Wave, index: int, random: np.random.Generator) -> Source:
    neighbour = recipe.neighbours[index]
    return regular(
        (wave,),
        random,
        name=f"sibling {index + 1}",
        interval_ms=recipe.interval_ms,
        phase_ms=recipe.phase_ms + recipe.interval_ms * neighbour.slot_share,
        jitter_us=recipe.jitter_us,
        missing=neighbour.missing,
    ).louder(neighbour.level_dbfs)


def _with_echoes(source: Source, echoes: tuple[Echo, ...]) -> list[Source]:
    return [source, *(source.echo(echo.delay_us, echo.loss_db) for echo in echoes)]


def build(recipe: Recipe, seed: int) -> Scene:
    """Return the scene of a recipe; seed draws jitter, missing bursts and electronic noise."""
    random = np.random.default_rng(seed)
    sounds: list[Source] = []
    held, burst_truth = None, None
    if not recipe.fault.silent:
        source, burst_truth = _held(recipe, random)
        held = Heard(source, burst_truth.level_dbfs)
        sounds += _with_echoes(source, recipe.echoes)
    shapes = {
        neighbour.sensor: wave_in_collar(recipe, neighbour.sensor)[0] for neighbour in recipe.neighbours
    }
    siblings: list[Heard] = []
    for index, neighbour in enumerate(recipe.neighbours):
        source = _neighbour(recipe, shapes[neighbour.sensor], index, random)
        siblings.append(Heard(source, neighbour.level_dbfs))
        sounds += _with_echoes(source, neighbour.echoes)
    ear = Ear((*sounds, *recipe.imposters), recipe.layers, recipe.probe, recipe.adc, seed)
    truth = Truth(
        class_khz=recipe.sensor.class_khz,
        interval_ms=recipe.interval_ms,
        fault=recipe.fault.kind,
        ear=ear,
        burst=burst_truth,
        held=held,
        siblings=tuple(siblings),
        imposters=tuple(source.name for source in recipe.imposters),
        heard_before=recipe.heard_before,
    )
    return Scene(recipe, ear, truth, recipe.start_us)
