"""What a reading says, in one sentence, with the figure that decided it beside its limit."""

from collections.abc import Callable, Mapping

from curbtick_wire import classes

from curbtick.fleet.readings import Reading
from curbtick.report.views.places import reasons_in_words

Limits = Mapping[str, int]
HEARS = "Whether it hears as well, only the vehicle's own display can show."


def answer(reading: Reading, verdict: str, reasons: tuple[str, ...], limits: Limits | None) -> str:
    """Return the sentence. verdict, reasons: what stands; limits: of the class, None where the set is not known."""
    if verdict == "pass":
        return f"It sends as it should: {_sent(reading)}{_above(reading, limits)}. {HEARS}"
    if verdict == "retry":
        return f"No verdict: {reasons_in_words(reasons) or 'the reading was broken off'}. Read it again."
    if "only_neighbour" in reasons:
        return "Nothing was heard of this sensor, although its system transmits: a neighbour was heard."
    if "nothing_heard" in reasons:
        return "Nothing was heard of this sensor, although others of its bumper send."
    faults = [_FAULTS[reason](reading, limits) for reason in reasons if reason in _FAULTS]
    rest = [reasons_in_words([reason]) for reason in reasons if reason not in _FAULTS]
    return f"It sends, {', and '.join([*faults, *rest]) or 'but not as it should'}."


def _sent(reading: Reading) -> str:
    values = reading.values
    return f"{_khz(values['frequency_hz'])}, {values['burst_count']} of {values['due_count']} bursts"


def _khz(frequency_hz: int) -> str:
    return f"{frequency_hz / 1000:.1f} kHz"


def _above(reading: Reading, limits: Limits | None) -> str:
    if limits is None or reading.level_db is None:
        return ""
    return f", {reading.level_db - limits['pass_cdb'] / 100:.1f} dB above the PASS limit"


def _off_frequency(reading: Reading, _limits: Limits | None) -> str:
    frequency_hz = reading.values["frequency_hz"]
    words = f"but at {_khz(frequency_hz)}, and its class is {classes.class_name(reading.class_khz)}"
    nearest_khz = classes.nearest_class(frequency_hz)
    row = next((row for row in classes.CLASSES if row["class_khz"] == nearest_khz), None)
    if row is None or nearest_khz == reading.class_khz:
        return words
    fits = abs(frequency_hz - row["centre_hz"]) <= row["window_hz"]
    return f"{words}: the frequency of a {classes.class_name(nearest_khz)} sensor" if fits else words


def _low_level(reading: Reading, limits: Limits | None) -> str:
    if limits is None or reading.level_db is None:
        return "but too faintly"
    name = "dead" if reading.verdict == "dead" else "pass"
    below_db = limits[f"{name}_cdb"] / 100 - reading.level_db
    return f"but {below_db:.1f} dB below the {name.upper()} limit"


def _irregular(reading: Reading, _limits: Limits | None) -> str:
    values = reading.values
    return f"but only {values['burst_count']} of {values['due_count']} bursts came"


def _odd_ringdown(reading: Reading, limits: Limits | None) -> str:
    words = f"but it rings on for {reading.values['ringdown_us'] / 1000:.2f} ms"
    if limits is None:
        return words
    low_ms, high_ms = limits["ringdown_min_us"] / 1000, limits["ringdown_max_us"] / 1000
    return f"{words}, where {low_ms:.2f} to {high_ms:.2f} ms is usual"


_FAULTS: dict[str, Callable[[Reading, Limits | None], str]] = {
    "off_frequency": _off_frequency,
    "low_level": _low_level,
    "irregular": _irregular,
    "odd_ringdown": _odd_ringdown,
}
