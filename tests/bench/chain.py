"""The whole chain by Monte Carlo: what healthy sensors of every class read, and what that asks of pads and limits.

`python -m tests.bench.chain --json`: probes and sensors are drawn within the ranges of
hardware_notes/frontend/chain.py, with both microphones, calibrated and not. Bounds: 6 dB to the microphone's overload
and to the end of the padded input's swing, for every healthy sensor under a calibrated probe; 35 dB of shading;
healthy sensors pass, and neighbours stay below their limit, by the factory's limit set. `limits_that_hold_cdb` are the
limits that the draws ask for.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.bench import _common

import numpy as np  # isort: skip
from curbtick.hardware import frontend  # isort: skip
from curbtick.hardware.microphones import CLASSES_HZ, FIRST, MICROPHONES, Microphone  # isort: skip
from curbtick_wire import classes, settings  # isort: skip

from hardware_notes.frontend import chain  # isort: skip
from hardware_notes.frontend.chain import Heard  # isort: skip

MARGIN_DB = 6.0
SHADING_DB = 35.0
# 99 in 100 healthy sensors pass, and of neighbours at most 1 in 100 reaches the level that only a held sensor may have.
PASS_SHARE, NEIGHBOUR_SHARE, DEAD_SHARE = 0.99, 0.01, 0.001
# What the bench allows: the shares above, and what 1,800 draws leave unsure of them.
NOT_PASS_SHARE, NEIGHBOUR_OVER_SHARE = 0.015, 0.015
# A limit keeps half a decibel beyond the quantile that it is made from, and is rounded to half a decibel outwards.
GUARD_DB, STEP_DB = 0.5, 0.5
# Between the loudest neighbour and DEAD, for the seat's and the calibration's own spread.
DEAD_ABOVE_NEIGHBOUR_DB = 2.0
FLOOR_MARGIN_DB = 2.0

Draw = Callable[[np.random.Generator], chain.Probe]


@dataclass(frozen=True)
class Drawn:
    """What was drawn with a microphone: by class, calibrated and not."""

    heard: dict[float, list[Heard]]
    neighbours_dbfs: dict[float, list[float]]

    def levels(self, class_hz: float) -> list[float]:
        """The levels shown for a class, in dBFS."""
        return [one.level_dbfs for one in self.heard[class_hz]]


def draw(make: Draw, count: int, generator: np.random.Generator) -> Drawn:
    """Draw count probes, and under each of them three sensors and a neighbour of every class."""
    heard: dict[float, list[Heard]] = {hz: [] for hz in CLASSES_HZ}
    neighbours: dict[float, list[float]] = {hz: [] for hz in CLASSES_HZ}
    for _ in range(count):
        probe = make(generator)
        for hz in CLASSES_HZ:
            sensors = [chain.heard(generator, probe, hz) for _ in range(3)]
            heard[hz] += sensors
            neighbours[hz] += [one.level_dbfs - chain.drawn_shading_db(generator, hz) for one in sensors]
    return Drawn(heard, neighbours)


def limits_of(class_hz: float) -> dict[str, float]:
    """The factory's limits of a class, in dB."""
    for given in classes.factory_classes():
        if given["centre_hz"] == class_hz:
            return {name: given[f"{name}_cdb"] / 100.0 for name in ("pass", "dead", "neighbour")}
    raise ValueError(f"the factory set has no class of {class_hz} Hz: add it to curbtick_wire.classes")


def _share(values: list[float], below: float) -> float:
    return sum(value < below for value in values) / len(values)


def verdicts(drawn: Drawn) -> dict[str, dict[str, float]]:
    """By class: the shares of healthy sensors below PASS and below DEAD, and of neighbours above their limit."""
    found = {}
    for hz in CLASSES_HZ:
        limits, levels = limits_of(hz), drawn.levels(hz)
        found[f"{hz / 1000:.0f}_khz"] = {
            "healthy_not_pass": _share(levels, limits["pass"]),
            "healthy_dead": _share(levels, limits["dead"]),
            "neighbour_above_limit": 1.0 - _share(drawn.neighbours_dbfs[hz], limits["neighbour"]),
        }
    return found


def limits_that_hold(drawn: Drawn) -> dict[str, dict[str, int]]:
    """By class: the limits in centibels that PASS_SHARE and NEIGHBOUR_SHARE ask for; the factory's where those do."""
    found = {}
    for hz in CLASSES_HZ:
        weakest = float(np.quantile(drawn.levels(hz), 1.0 - PASS_SHARE)) - GUARD_DB
        loudest = float(np.quantile(drawn.neighbours_dbfs[hz], 1.0 - NEIGHBOUR_SHARE)) + GUARD_DB
        factory = limits_of(hz)
        neighbour = max(STEP_DB * math.ceil(loudest / STEP_DB), factory["neighbour"])
        limits = {
            "pass": min(STEP_DB * math.floor(weakest / STEP_DB), factory["pass"]),
            "dead": max(neighbour + DEAD_ABOVE_NEIGHBOUR_DB, factory["dead"]),
            "neighbour": neighbour,
        }
        found[f"{hz / 1000:.0f}_khz"] = {f"{name}_cdb": round(100 * value) for name, value in limits.items()}
    return found


def _figure(name: str, value: float, bound: float, at_least: bool) -> dict[str, Any]:
    holds = value >= bound if at_least else value <= bound
    return _common.figure(name, float(f"{value:.4g}"), f"{'>=' if at_least else '<='} {bound}", holds)


def margins(microphone: Microphone, drawn: Drawn) -> list[dict[str, Any]]:
    """The least margins of any healthy sensor of any class."""
    every = [one for hz in CLASSES_HZ for one in drawn.heard[hz]]
    name = microphone.name.lower()
    return [
        _figure(f"{name}_overload_margin_db", min(one.margin_db for one in every), MARGIN_DB, True),
        _figure(f"{name}_padded_margin_db", min(one.padded_margin_db for one in every), MARGIN_DB, True),
    ]


def shading(count: int, generator: np.random.Generator) -> list[dict[str, Any]]:
    """The shading of neighbours, drawn; and how much of the rim may stand open under the widest sensor."""
    drawn = [chain.drawn_shading_db(generator, hz) for hz in CLASSES_HZ for _ in range(count)]
    open_share = min(chain.rim_open_limit(chain.APERTURE_DEG[1], hz, SHADING_DB) for hz in CLASSES_HZ)
    return [
        _figure("shading_99_percent_db", float(np.quantile(drawn, 0.01)), SHADING_DB, True),
        _figure("rim_open_share_at_120_degrees", open_share, chain.RIM_OPEN_SHARE, True),
    ]


def judged(drawn: Drawn) -> list[dict[str, Any]]:
    """The first microphone's calibrated probes against the factory's limits: the worst class of each kind."""
    found = verdicts(drawn).values()
    return [
        _figure("healthy_not_pass_share", max(one["healthy_not_pass"] for one in found), NOT_PASS_SHARE, False),
        _figure("healthy_dead_share", max(one["healthy_dead"] for one in found), DEAD_SHARE, False),
        _figure("neighbour_above_limit_share", max(one["neighbour_above_limit"] for one in found),
                NEIGHBOUR_OVER_SHARE, False),
    ]  # fmt: skip


def floors(microphone: Microphone, count: int, generator: np.random.Generator) -> tuple[float, float]:
    """(quietest live floor, loudest floor without a microphone) of the high input over drawn front ends, in dBFS."""
    drawn = [frontend.drawn(generator, microphone) for _ in range(count)]
    live = min(one.floor_dbfs("RP2350") for one in drawn)
    return live, max(one.floor_dbfs("RP2040", live=False) for one in drawn)


def floor_figures(live_dbfs: float, open_dbfs: float) -> list[dict[str, Any]]:
    """The factory's floor limit parts every live front end from every open one."""
    limit = settings.FACTORY_SET["high_floor_min_cdb"] / 100.0
    return [
        _figure("live_floor_over_limit_db", live_dbfs - limit, FLOOR_MARGIN_DB, True),
        _figure("limit_over_open_floor_db", limit - open_dbfs, FLOOR_MARGIN_DB, True),
    ]


def _spread(drawn: Drawn) -> dict[str, list[float]]:
    return {
        f"{hz / 1000:.0f}_khz": [round(float(q), 1) for q in np.quantile(drawn.levels(hz), (0.01, 0.5, 0.99))]
        for hz in CLASSES_HZ
    }


def _padded(drawn: Drawn) -> dict[str, float]:
    return {
        f"{hz / 1000:.0f}_khz": round(
            sum(one.input == "padded" for one in drawn.heard[hz]) / len(drawn.heard[hz]), 3
        )
        for hz in CLASSES_HZ
    }


def main() -> None:
    asked = _common.arguments(__doc__ or "")
    generator = np.random.default_rng(asked.seed)
    count = 120 if asked.short else 600
    figures: list[dict[str, Any]] = []
    seen: dict[str, Any] = {}
    for microphone in MICROPHONES:

        def bare(draws: np.random.Generator, one: Microphone = microphone) -> chain.Probe:
            return chain.built(draws, one)

        def trimmed(draws: np.random.Generator, one: Microphone = microphone) -> chain.Probe:
            return chain.calibrated(draws, chain.built(draws, one))

        calibrated, uncalibrated = draw(trimmed, count, generator), draw(bare, count, generator)
        figures += margins(microphone, calibrated)
        live, bare_floor = floors(microphone, count, generator)
        seen[microphone.name] = {
            "healthy_dbfs_1_50_99_percent": _spread(calibrated),
            "read_by_the_padded_input": _padded(calibrated),
            "calibrated": verdicts(calibrated),
            "uncalibrated": verdicts(uncalibrated),
            "limits_that_hold_cdb": limits_that_hold(calibrated),
            "live_and_open_floor_dbfs": [round(live, 1), round(bare_floor, 1)],
            "high_floor_min_that_holds_cdb": round(50.0 * (live + bare_floor)),
        }
        if microphone is FIRST:
            figures += [*judged(calibrated), *floor_figures(live, bare_floor)]
    figures += shading(count, generator)
    if not asked.json:
        for entry in figures:
            print(
                f"{entry['name']:40} {entry['value']:10} {entry['bound']:>12} {'ok' if entry['holds'] else 'MISSED'}"
            )
        for name, found in seen.items():
            print(name, *(f"  {what}: {value}" for what, value in found.items()), sep="\n")
    _common.report(figures, asked, seen=seen)


if __name__ == "__main__":
    main()
