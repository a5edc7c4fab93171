"""What lies on the beats of an interval, and whether it comes again like a companion."""

import micropython
from micropython import const

# Words of a beat: how many sounds lie on it, the mean of their evidence, and between which frequencies they lie.
HITS = const(0)
EVIDENCE_CDB = const(1)
LOW_HZ = const(2)
HIGH_HZ = const(3)
BEAT_WORDS = const(4)

# What a sound is to its siblings, in `kept`: not asked about or like none of them; or like its companion.
NOT_KEPT = const(0)
ALIKE = const(2)

# A companion is one from two sounds on. So many sounds on each of two beats of one sensor are apart in frequency, all
# of one above all of the other, by chance in 3 % (2 * 4! * 4! / 8!).
_COMPANIONS = const(2)
_APART_LEAST = const(4)

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
    hz: ptr32,
    kind: ptr32,
    out: ptr32,
    count: int,
    but: int,
    beat: int,
    interval: int,
    slack: int,
):
    """Count the sounds within slack of a beat, all but one kind's, each once, and take their mean evidence.

    t, phase (of the interval), evidence, hz, kind: of `count` sounds in the order of time. beat: 0 to interval - 1.
    out: BEAT_WORDS words: hits, the mean of the evidence, rounded down, and the lowest and highest frequency; 0 for
    none. Of sounds within TWICE_US the one with more evidence counts.

    Q format: integers. Range: times, phases, interval 0..2**22, |evidence| < 2**15, count to 64. Headroom: sums below
    2**23.
    """
    many = int(0)
    total = int(0)
    last = int(_LONG_AGO)
    its = int(0)
    out[LOW_HZ] = 0
    out[HIGH_HZ] = 0
    n = int(0)
    while n < count:
        late = phase[n] - beat
        if late < 0:
            late = -late
        if kind[n] != but and (late <= slack or interval - late <= slack):
            # Offset, so that the sum and its quotient have no sign.
            e = (evidence[n] + _EVIDENCE_ZERO) & _EVIDENCE_MASK
            if many == 0 or hz[n] < out[LOW_HZ]:
                out[LOW_HZ] = hz[n]
            if hz[n] > out[HIGH_HZ]:
                out[HIGH_HZ] = hz[n]
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

    one, other: of `on_beat`. Neither has twice as many sounds as the other; the means of their evidence differ by at
    most `most`, and the difference's square, times the fewer of both, is at most `squared`; and where there are enough,
    the frequencies of one are not all above those of the other.

    Q format: integers. Range: |evidence| < 2**15, most below 2**12, count to 64. Headroom: the product below 2**30.
    """
    fewer = one[HITS]
    more = other[HITS]
    if more < fewer:
        fewer = other[HITS]
        more = one[HITS]
    d = ((one[EVIDENCE_CDB] - other[EVIDENCE_CDB] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
    if d < 0:
        d = -d
    if fewer < _COMPANIONS or fewer + fewer < more or d > most:
        return 0
    if fewer > _APART_LEAST - 1:
        if one[LOW_HZ] > other[HIGH_HZ] or other[LOW_HZ] > one[HIGH_HZ]:
            return 0
    if d * d * fewer > squared:
        return 0
    return 1
