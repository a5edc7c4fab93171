"""What lies on the beats of an interval, and whether it comes again like a companion."""

import micropython
from micropython import const

# Words of a beat: how many sounds lie on it, and the mean of their evidence.
HITS = const(0)
EVIDENCE_CDB = const(1)
BEAT_WORDS = const(2)

# What a sound is to its siblings, in `kept`: not asked about; one that nothing is like; one like its companion.
NOT_KEPT = const(0)
ALONE = const(1)
ALIKE = const(2)

# A companion is one from two sounds on.
_COMPANIONS = const(2)

# Sounds of one beat that come this soon after one another are one sound, found twice.
TWICE_US = const(3000)

# Evidence made positive, so that a sum and its quotient have no sign.
_EVIDENCE_ZERO = const(0x8000)
_EVIDENCE_MASK = const(0x1FFFF)
_LONG_AGO = const(-0x400000)

# A word of 64 bits loads ptr32 without its sign: adding half, masking and taking half off gives a number of 30
# bits its sign back.
_SIGN_HALF = const(0x20000000)
_SIGN_MASK = const(0x3FFFFFFF)


@micropython.viper
def phases(t: ptr32, out: ptr32, count: int, first: int, interval: int):
    """Set how long after a beat of an interval each time is: 0 to interval - 1; a beat is at `first`.

    t, out: `count` words.

    Q format: integers. Range: times and first 0..4e6, interval 1..4e6. Headroom: sums below 2**24.
    """
    n = int(0)
    while n < count:
        out[n] = (t[n] - first) % interval
        n += 1


@micropython.viper
def choose(phase: ptr32, flags: ptr32, kept: ptr32, count: int, asked: int, after: int, before: int):
    """Set `kept` to ALIKE for the sounds that have all the flags asked and a phase between two, else to NOT_KEPT.

    phase, flags, kept: of `count` sounds.

    Q format: integers. Range: phases 0..4e6. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        kept[n] = NOT_KEPT
        if flags[n] & asked == asked and phase[n] > after and phase[n] < before:
            kept[n] = ALIKE
        n += 1


@micropython.viper
def on_beat(
    t: ptr32,
    phase: ptr32,
    evidence: ptr32,
    kind: ptr32,
    out: ptr32,
    count: int,
    but: int,
    beat: int,
    interval: int,
    slack: int,
):
    """Count the sounds within slack of a beat, all but one kind's, each once, and take their mean evidence.

    t, phase (of the interval), evidence, kind: of `count` sounds in the order of time. beat: 0 to interval - 1. out:
    BEAT_WORDS words: hits, and the mean of the evidence, rounded down, 0 for none. Of sounds within TWICE_US the one
    with more evidence counts.

    Q format: integers. Range: times, phases, interval 0..2**22, |evidence| < 2**15, count to 64. Headroom: sums below
    2**23.
    """
    many = int(0)
    total = int(0)
    last = int(_LONG_AGO)
    its = int(0)
    n = int(0)
    while n < count:
        late = phase[n] - beat
        if late < 0:
            late = -late
        if kind[n] != but and (late <= slack or interval - late <= slack):
            # Offset, so that the sum and its quotient have no sign.
            e = (evidence[n] + _EVIDENCE_ZERO) & _EVIDENCE_MASK
            if t[n] - last > TWICE_US:
                many += 1
                total += e
                its = int(e)
                last = t[n]
            elif e > its:
                total += e - its
                its = int(e)
        n += 1
    out[HITS] = many
    out[EVIDENCE_CDB] = 0
    if many:
        out[EVIDENCE_CDB] = total // many - _EVIDENCE_ZERO


@micropython.viper
def are_alike(one: ptr32, other: ptr32, squared: int, most: int) -> int:
    """Tell whether two beats, two sounds on each at least, may be one sensor's; 1 or 0.

    one, other: of `on_beat`. The means of their evidence differ by at most `most`, and the difference's square, times
    the fewer of both, is at most `squared`.

    Q format: integers. Range: |evidence| < 2**15, most below 2**12, count to 64. Headroom: the product below 2**30.
    """
    fewer = one[HITS]
    if other[HITS] < fewer:
        fewer = other[HITS]
    d = ((one[EVIDENCE_CDB] - other[EVIDENCE_CDB] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
    if d < 0:
        d = -d
    if fewer < _COMPANIONS or d > most:
        return 0
    if d * d * fewer > squared:
        return 0
    return 1
