"""What the command prints: the kinds, the rates of each kind, and a replayed scene with all that is known of it."""

from typing import Any

from curbtick_wire.names import INPUTS

from tests.bench.otheryard.catalog import CHECKS
from tests.bench.otheryard.physics.level import decibel
from tests.bench.otheryard.rates import Rates
from tests.bench.otheryard.run import reasons_of, sections_of, word_of
from tests.bench.otheryard.scene import Scene
from tests.bench.otheryard.truth import Truth, judge
from tests.bench.otheryard.vehicle.bumper import Arrivals

LIST_DRAWS = 3
MEASURED = (
    *("level_cdb", "frequency_hz", "interval_us", "burst_us", "ringdown_us", "burst_count", "due_count"),
    *("noise_cdb", "high_floor_cdb", "proofs", "listened_ms", "train_cdb", "single_cdb"),
)


def truth_line(truth: Truth) -> str:
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
            print(f"      {' | '.join(sorted({truth_line(truth) for truth in truths}))}")


def print_rates(check: str, rates: Rates) -> None:
    """A line for each kind: its judgements, and each rate with the upper end of its interval beside its bound."""
    bounds = {bound.name: bound.most for bound in rates.bounds}
    print(f"{check}:")
    for kind, counted in rates.judgements.items():
        judged = ", ".join(f"{many} {word}" for word, many in counted.most_common())
        print(f"  {kind}: {judged}")
        for name, tally in rates.kinds.get(kind, {}).items():
            if tally.wrong:
                bound = f"of {bounds[name]:g}" if name in bounds else "of 0"
                share = f"{tally.wrong} of {tally.readings}"
                print(f"      {name}: {share}, upper end {tally.upper():.3f} {bound}")


def print_replay(check: str, scene: Any, said: Any) -> None:
    """A scene's truth, what the probe said of it and why, what sounded, and what the probe heard."""
    print(f"{check} {scene.kind}:{scene.seed}:{scene.index}  {CHECKS[check][0][scene.kind].line}")
    for key, value in scene.note.items():
        print(f"  {key}: {value}")
    if isinstance(scene, Scene):
        print(f"  class: {scene.class_khz} kHz, heard before: {scene.before}")
    for truth, each in sections_of(scene, said):
        word = word_of(check, each)
        print(f"  truth: {truth_line(truth)}; level {truth.level_dbfs}, frequency {truth.frequency_hz}")
        print(f"  said: {word.upper()} {', '.join(reasons_of(each))} -> {judge(truth, word)}")
        if isinstance(each, dict):
            print("   ", _measured(each))
    for press in getattr(scene, "presses", ()):
        print(f"  {press.at_s:8.3f} s  {press.gesture}: {press.means}")
    if isinstance(said, dict):
        _print_sent(scene, said.get("listened_ms", 0) / 1000)
    for sound in said.get("sounds", ()) if isinstance(said, dict) else ():
        print(
            f"  heard {sound['time_s']:7.4f} s {sound['level_dbfs']:6.1f} dBFS {sound['frequency_hz']:6d} Hz "
            f"{sound['length_us']:5d} us  {sound['kind']}"
        )


def _measured(values: dict[str, Any]) -> str:
    """A reading's figures, or all of a section's."""
    if "input" not in values:
        return ", ".join(f"{name} {value}" for name, value in values.items())
    figures = ", ".join(f"{name} {values[name]}" for name in MEASURED)
    return f"input {INPUTS[values['input']]}, {figures}"


def _print_sent(scene: Any, listened_s: float) -> None:
    """The bursts that truly reached the probe while it listened, by each system that sounded."""
    for number, source in enumerate(scene.stream.sources):
        for arrival in source.arrivals if isinstance(source, Arrivals) else ():
            if 0 <= arrival.at_s < listened_s:
                sensor = arrival.sensor
                level_dbfs = sensor.level_db(1) + decibel(arrival.gain)
                print(
                    f"  sent  {arrival.at_s:7.4f} s {level_dbfs:6.1f} dBFS  system {number}, burst {arrival.burst}"
                )
