"""Everything the LED bar and the beeper can say, once: firmware, documentation and tests read this table.

The bar has 12 LEDs of one colour; bit 0 is the left one. The left six are the rear bumper's positions 1 to 6, the
right six the front's. The number and the length of its flashes tell a pattern, never a colour or a pitch.

A pattern is (frames, repeats, beeps). A frame is (mask, duration_ms). A beep is (frequency_hz, duration_ms); the first
time round it sounds with the lit frame of the same number. The bench's pattern_texts.py says what each pattern means to
the technician. Patterns are kept packed to save memory: a frame as a tuple of two takes five times the room.
"""

from array import array

from curbtick_wire._typing import Ints, Pairs, Sequence

LEDS = 12
HALF = 6
ALL = 0xFFF
REAR_HALF = 0x03F
FRONT_HALF = 0xFC0
ENDS = 0xE07
ODD = 0x555
EVEN = 0xAAA
MIDDLE = 0x0F0

_HIGH_HZ = 4000
_LOW_HZ = 2500


def _flashes(mask: int, count: int, on_ms: int, off_ms: int, rest_ms: int) -> Pairs:
    frames = []
    for _ in range(count):
        frames += [(mask, on_ms), (0, off_ms)]
    return tuple(frames) + ((0, rest_ms),)


def _beeps(frequency_hz: int, *durations_ms: int) -> Pairs:
    return tuple((frequency_hz, duration_ms) for duration_ms in durations_ms)


def _packed(frames: Pairs, repeats: int, beeps: Pairs) -> Ints:
    """Return a pattern as halfwords: repeats, how many frames, then every pair."""
    words = [repeats, len(frames)]
    for pair in frames + beeps:
        words += pair
    return array("H", words)


_FLUTTER = ((ODD, 60), (0, 60), (EVEN, 60), (0, 60)) * 5

# By name, as pattern() unpacks them.
PATTERNS = {
    # Verdicts of a reading: one long light, two flashes, three flashes, a flutter.
    "pass": _packed(((ALL, 1600), (0, 200)), 1, _beeps(_HIGH_HZ, 120)),
    "weak": _packed(_flashes(ALL, 2, 350, 250, 600), 2, _beeps(_HIGH_HZ, 120, 120)),
    "dead": _packed(_flashes(ALL, 3, 350, 250, 600), 2, _beeps(_LOW_HZ, 300, 300, 300)),
    "retry": _packed(_FLUTTER + ((0, 500),), 2, _beeps(_HIGH_HZ, 40, 40, 40, 40, 40)),
    # A fact about the vehicle: long, short, short, at both ends.
    "not_transmitting": _packed(
        ((ENDS, 900), (0, 200), (ENDS, 120), (0, 200), (ENDS, 120), (0, 800)),
        3,
        _beeps(_LOW_HZ, 400, 80, 80),
    ),
    # The probe's own state.
    "log_full": _packed(
        _flashes(ALL, 4, 120, 120, 0)[:-1] + ((FRONT_HALF, 900), (0, 500)),
        2,
        _beeps(_LOW_HZ, 80, 80, 80, 80, 400),
    ),
    "battery_low": _packed(_flashes(0x003, 4, 700, 500, 300), 1, _beeps(_LOW_HZ, 400, 400)),
    "self_test": _packed(tuple((1 << led, 70) for led in range(LEDS)) + ((0, 100),), 1, ()),
    "self_test_passed": _packed(
        ((MIDDLE, 100), (0, 100), (MIDDLE, 700), (0, 200)), 1, _beeps(_HIGH_HZ, 60, 60)
    ),
    "self_test_failed": _packed(_flashes(MIDDLE, 6, 350, 250, 600), 2, _beeps(_LOW_HZ, 300, 80, 300, 80)),
    "pairing": _packed(((REAR_HALF, 400), (FRONT_HALF, 400), (0, 150)), 10, _beeps(_HIGH_HZ, 80, 300)),
    "paired": _packed(((MIDDLE, 700), (0, 100), (MIDDLE, 100), (0, 200)), 1, _beeps(_HIGH_HZ, 300, 80)),
    "refused": _packed(((0x801, 100), (0, 200)), 1, _beeps(_LOW_HZ, 60)),
    # Which check is current: one, two or three blocks of light, and as many short beeps.
    "check_bumper": _packed(((0x060, 150), (0, 150), (0x060, 900), (0, 150)), 1, _beeps(_HIGH_HZ, 60)),
    "check_seal": _packed(
        _flashes(0x198, 2, 150, 150, 0)[:-1] + ((0x198, 900), (0, 150)),
        1,
        _beeps(_HIGH_HZ, 60, 60),
    ),
    "check_hiss": _packed(
        _flashes(0xC63, 3, 150, 150, 0)[:-1] + ((0xC63, 900), (0, 150)),
        1,
        _beeps(_HIGH_HZ, 60, 60, 60),
    ),
    # The seal check and the hiss check.
    "mark": _packed(((ALL, 80), (0, 60)), 1, _beeps(_HIGH_HZ, 60)),
    "leak": _packed(_flashes(REAR_HALF, 2, 350, 250, 400), 1, _beeps(_LOW_HZ, 300, 120)),
    "tight": _packed(((REAR_HALF, 1200), (0, 200)), 1, _beeps(_HIGH_HZ, 120)),
    "hiss": _packed(_flashes(FRONT_HALF, 2, 350, 250, 400), 1, _beeps(_LOW_HZ, 300, 120)),
    "quiet": _packed(((FRONT_HALF, 1200), (0, 200)), 1, _beeps(_HIGH_HZ, 120)),
    "tone": _packed(((FRONT_HALF, 350), (0, 250), (FRONT_HALF, 900), (0, 300)), 1, _beeps(_LOW_HZ, 80, 300)),
}

CHECK_PATTERNS = ("check_bumper", "check_seal", "check_hiss")

# A bumper's result shows the verdict of each position as a rhythm of RESULT_SLOTS slots: the first slot is the lowest
# bit, 1 is lit. In the wire's order of the verdicts: flutter, one long light, two flashes, three flashes. A position
# that was not read stays dark. All are dark at the end, so that no result looks like the LED of the current position.
RESULT_SLOT_MS = 120
RESULT_SLOTS = 20
RESULT_REPEATS = 3
RESULT_RHYTHMS = (0x15555, 0x3FFFF, 0x000E7, 0x01CE7)

# Counting a vehicle's number: its tens, then its units, LEDs from the left; the right end says which of the two.
DIGIT_MS = 900
TENS_MARK = 0x800
UNITS_MARK = 0xC00

# What a meter shows instead of its level: masks of every other update (five a second), by the check's status.
METER_PATTERNS = {
    "lost": (ENDS, 0),
    "no_reference": (MIDDLE, MIDDLE),
    "no_background": (MIDDLE, MIDDLE),
    "clipped": (ALL, REAR_HALF),
    "dead": (ODD, EVEN),
    "tone": (EVEN, 0),
    "noisy": (FRONT_HALF, REAR_HALF),
    "gusty": (FRONT_HALF, REAR_HALF),
}


def pattern(name: str) -> tuple[Pairs, int, Pairs]:
    """Return (frames, repeats, beeps) of one of PATTERNS."""
    words = PATTERNS[name]
    repeats, count = words[:2]
    pairs = tuple((words[k], words[k + 1]) for k in range(2, len(words), 2))
    return pairs[:count], repeats, pairs[count:]


def position_mask(bumper: int, position: int) -> int:
    """Return the LED of a position: bumper 0 rear or 1 front, position 1..6; 0 for position 0."""
    return 1 << (bumper * HALF + position - 1) if position else 0


def level_mask(leds: int) -> int:
    """Return a bar of 0..12 LEDs from the left."""
    return (1 << leds) - 1


def meter_mask(leds: int, dot: int) -> int:
    """Return a meter's bar of leds LEDs, with the LED of the section's maximum (0: none) lit beyond it."""
    return level_mask(leds) | (1 << dot >> 1)


def vehicle_frames(vehicle: int) -> Pairs:
    """Return the frames that count out a vehicle's number, 0..99: its tens if it has any, then its units."""
    tens, units = divmod(vehicle, 10)
    of_units = ((level_mask(units) | UNITS_MARK, DIGIT_MS), (0, 300))
    if not tens:
        return of_units
    return ((level_mask(tens) | TENS_MARK, DIGIT_MS), (0, 150)) + of_units


def result_frames(bumper: int, verdicts: Sequence[int], read: Sequence[bool]) -> Pairs:
    """Return one round of frames of a bumper result.

    verdicts: wire numbers by position; read: whether each position was read at all.
    """
    frames = []
    for slot in range(RESULT_SLOTS):
        mask = 0
        for place, verdict in enumerate(verdicts):
            if read[place] and RESULT_RHYTHMS[verdict] >> slot & 1:
                mask |= position_mask(bumper, place + 1)
        frames.append((mask, RESULT_SLOT_MS))
    return tuple(frames)
