"""Every enumerated word of the vocabulary, in its wire order.

The place of a word in its tuple is its number on the wire and in the log: append only, never reorder.
"""

from curbtick_wire._typing import Any

VERDICTS = ("retry", "pass", "weak", "dead")
RETRY, PASS, WEAK, DEAD = range(4)

# The place of a reason is its bit in a reading's `reasons` mask.
REASONS = (
    "low_level",
    "off_frequency",
    "irregular",
    "odd_ringdown",
    "below_siblings",
    "only_neighbour",
    "nothing_heard",
    "noisy",
    "clipped",
    "microphone_fault",
    "too_few_bursts",
    "not_a_burst",
    "moved",
    "battery_low",
    "log_full",
    "clock_unknown",
    "not_transmitting",
    "no_reference",
    "reference_changed",
    "tone_lost",
    "no_background",
    "gusty",
    "too_short",
    "samples_lost",
    "timing_unknown",
    "starts_or_stops",
)

BUMPERS = ("rear", "front")
REAR, FRONT = range(2)

CHECKS = ("bumper", "seal", "hiss")
CHECK_BUMPER, CHECK_SEAL, CHECK_HISS = range(3)

SOUND_KINDS = ("held", "sibling", "echo", "other")
HELD, SIBLING, ECHO, OTHER = range(4)

# What a bumper result says about the bumper as a whole.
BUMPER_RESULTS = ("incomplete", "all_pass", "repair", "not_transmitting")
BUMPER_INCOMPLETE, BUMPER_ALL_PASS, BUMPER_REPAIR, BUMPER_NOT_TRANSMITTING = range(4)

# Which input of the front end was listened to.
INPUTS = ("low", "padded", "high")
INPUT_LOW, INPUT_PADDED, INPUT_HIGH = range(3)

# Proofs behind DEAD, as bits of a reading's `proofs` mask.
PROOFS = ("sibling_heard", "bumper_heard_before", "front_end_live", "check_tone_heard")

SEAL_VERDICTS = ("retry", "tight", "leak")
HISS_VERDICTS = ("retry", "quiet", "hiss", "tone")

EVENTS = (
    "start",
    "round_received",
    "limits_changed",
    "gap",
    "snippets_dropped",
    "log_full",
    "anchored",
    "paired",
    "key_revoked",
    "self_test_failed",
    "acknowledged",
    "calibration_changed",
)

# Why the probe stopped of itself, as a crash record says it.
CRASHES = ("unknown", "error", "out_of_memory", "flash", "watchdog")

# What a self-test looks at; the place of a word is its bit in the record's `failed` mask.
SELF_TESTS = (
    "bias",
    "low_floor",
    "microphone",
    "rate",
    "flash",
    "buttons",
    "battery",
    "temperature",
    "beeper",
)

BUMPER_POSITIONS_MAX = 6


def mask_of(names: tuple[str, ...], words: Any) -> int:
    """Pack words into a bit mask.

    names: the tuple that orders the bits; words: iterable of its members.
    Raises ValueError for a word that is not in names.
    """
    mask = 0
    for word in words:
        mask |= 1 << names.index(word)
    return mask


def words_of(names: tuple[str, ...], mask: int) -> list[str]:
    """Unpack a bit mask into the list of its words, lowest bit first; bits without a word are dropped."""
    return [word for bit, word in enumerate(names) if mask >> bit & 1]
