"""The sensor classes that a probe knows from the factory: frequency, window and levels of each.

This is the one table of classes. The factory limit set, the classes that a round may name, the texts of SPEC.md and
of the command line's help, the population of the yard and the calculations of hardware_notes all read it.
"""

# A class that is not in the table travels as class_khz 0, with its own centre in the limit set.
CUSTOM = 0

# The values of settings.LIMIT_CLASS that all classes share; a class's row may give its own. The levels are those that
# 99 of 100 healthy sensors and neighbours keep by the whole chain's tolerances (tests.bench.chain): sensors of a higher
# frequency are heard weaker, and a neighbour of 40 kHz is shaded least.
LEVELS = {
    "pass_cdb": -1700,
    "dead_cdb": -3500,
    "neighbour_cdb": -4300,
    "interval_min_ms": 30,
    "interval_max_ms": 500,
    "missing_permille": 250,
    "ringdown_min_us": 60,
    "ringdown_max_us": 2500,
    "burst_max_us": 3000,
}

# class_khz: the class's name. centre_hz: its nominal frequency. window_hz: how far a sound sensor may be from it.
CLASSES: tuple[dict[str, int], ...] = (
    {"class_khz": 40, "centre_hz": 40_000, "window_hz": 6_500, "neighbour_cdb": -3800},
    {"class_khz": 48, "centre_hz": 48_000, "window_hz": 6_500, "pass_cdb": -2000, "neighbour_cdb": -4100},
    {"class_khz": 58, "centre_hz": 58_000, "window_hz": 6_500, "pass_cdb": -2200},
    {"class_khz": 68, "centre_hz": 68_000, "window_hz": 6_500, "pass_cdb": -2500},
)

CLASSES_KHZ = tuple([row["class_khz"] for row in CLASSES])


def factory_classes() -> list[dict[str, int]]:
    """The classes of the factory limit set, each a new dict of the fields of settings.LIMIT_CLASS."""
    return [dict(LEVELS, **row) for row in CLASSES]


def is_class(class_khz: int) -> bool:
    """Whether a number names a class of the table or the custom class."""
    return class_khz == CUSTOM or class_khz in CLASSES_KHZ


def nearest_class(frequency_hz: int) -> int:
    """The class (kHz) whose centre is nearest to a measured frequency; CUSTOM where none was measured (0)."""
    if not frequency_hz:
        return CUSTOM
    return min(CLASSES, key=lambda row: abs(row["centre_hz"] - frequency_hz))["class_khz"]


# In words. A probe carries none of what follows.


def class_list() -> str:
    """The names of the classes, as a sentence lists them: `40, 48, 58, 68`."""
    return ", ".join([str(khz) for khz in CLASSES_KHZ])


def class_name(class_khz: int) -> str:
    """A class as a reader sees it: `48 kHz`, or `custom`."""
    return f"{class_khz} kHz" if class_khz else "custom"


def shared_windows() -> list[tuple[int, int, int, int]]:
    """Where two classes overlap: (lower class, higher class, lowest Hz, highest Hz) of each such pair."""
    shared = []
    for lower in CLASSES:
        for higher in CLASSES:
            lowest_hz = max([row["centre_hz"] - row["window_hz"] for row in (lower, higher)])
            highest_hz = min([row["centre_hz"] + row["window_hz"] for row in (lower, higher)])
            if lower["centre_hz"] < higher["centre_hz"] and lowest_hz <= highest_hz:
                shared.append((lower["class_khz"], higher["class_khz"], lowest_hz, highest_hz))
    return shared


def auto_meaning() -> str:
    """What it means that a reading names no class, with the windows in which two classes would both be right."""
    words = "the class with the nearest centre; its frequency is not judged"
    pairs = [
        f"{lowest_hz / 1000:g} to {highest_hz / 1000:g} kHz ({lower} and {higher})"
        for lower, higher, lowest_hz, highest_hz in shared_windows()
    ]
    if pairs:
        words += ", and it is a guess where two classes overlap: " + ", ".join(pairs)
    return words
