"""Whether two intervals are of one loop, and whether a sensor comes more seldom than its siblings' loop."""

from micropython import const

from curbtick_probe.bumper.trains import cycle, quicker
from curbtick_probe.bumper.trains.cycle import Cycle
from curbtick_probe.bumper.trains.desk import Desk
from curbtick_probe.bumper.trains.siblings import Siblings
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.bumper.trains.train import Train

# Intervals of one system agree to within one part in so many; and a part or a multiple of it, up to so many times.
_PARTS = const(200)
_TIMES_MOST = const(4)

# Six sensors in turn, 40 ms each, take 240 ms. A sensor that comes more seldom may be one that leaves bursts out: it is
# listened to for longer, and its siblings are asked.
SLOW_INTERVAL_US = const(250000)

# Noise alone reaches a score of 1500 once in a thousand readings; knocks and hiss reach further.
PROOF_SCORE = const(2000)


def times_of(longer_us: int, shorter_us: int) -> int:
    """Return how many times an interval is another, 1 to _TIMES_MOST; 0 where it is none of these."""
    for times in range(1, _TIMES_MOST + 1):
        if abs(longer_us - times * shorter_us) * _PARTS <= longer_us:
            return times
    return 0


def agrees(interval_us: int, before_us: int) -> bool:
    """Tell whether two intervals may be of one system: the same, or a few times the other."""
    shorter_us = min(interval_us, before_us)
    return shorter_us <= 1 or times_of(max(interval_us, before_us), shorter_us) > 0


def _parts_of(interval_us: int, beside_us: int) -> int:
    """Return how many cycles of the loop that both intervals are of an interval takes; 0 where they are of none.

    Siblings heard at every second cycle beside a sensor at every third, or the other way about, tell of it too.
    """
    if times_of(2 * interval_us, beside_us) == 3:
        return 3
    if times_of(2 * beside_us, interval_us) == 3:
        return 2
    return times_of(interval_us, beside_us)


def is_quicker(beside: Siblings, found: Cycle, held: Train, sounds: Sounds, room: Desk) -> bool:
    """Tell whether the siblings' train, faint ones included, comes a few times in a slow sensor's interval.

    Two siblings in turn look like one that is twice as quick, so that a sensor of a usual interval is not asked about;
    those that are clear must not differ from beat to beat, and none may come where the sensor would be due. An outer
    sensor of a loop that passes the inner ones twice looks the same: no listener can tell it from one that leaves
    bursts out.
    """
    if found.timing != cycle.STEADY or found.interval_us <= SLOW_INTERVAL_US or beside.score < PROOF_SCORE:
        return False
    part = _parts_of(found.interval_us, beside.interval_us)
    if part < 2:
        return False
    quicker.say(found.tally, held, sounds, room, found.interval_us, part)
    tally = found.tally
    return not tally.taken and tally.alone + tally.nearly <= tally.again
