"""Whether a system was silent as a whole at the begin or the end of a reading."""

from curbtick_wire import names
from micropython import const

from curbtick_probe.bumper.trains.desk import OPEN_US, SLACK_US, WHOLE_FROM_US, Desk
from curbtick_probe.bumper.trains.quicker import ECHO_US
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.bumper.trains.train import Train
from curbtick_probe.dsp.train import columns

# Sounds so many times rarer in a stretch than in the rest are none of the siblings'.
_RARER = const(4)

# A contact is loose if one burst in so many is missing between the first and the last.
_MISSING_PARTS = const(4)


def is_part(held: Train, interval_us: int, due: int, sounds: Sounds, room: Desk, listened_us: int) -> bool:
    """Tell whether the bursts missing are those before the first or after the last, and no sibling was heard then.

    A sensor that fails within the reading leaves its siblings firing.
    """
    begin_us = WHOLE_FROM_US + SLACK_US
    end_us = listened_us - OPEN_US
    lead = max(0, held.first_us - begin_us) // interval_us
    tail = max(0, end_us - held.last_us) // interval_us
    inner = due - held.count - lead - tail
    if lead + tail == 0 or _MISSING_PARTS * inner >= due - lead - tail:
        return False
    first_us = held.first_us - interval_us if lead else begin_us
    last_us = held.last_us + interval_us if tail else end_us
    room.take_phases(sounds, held.first_us, interval_us)
    sounded_us = last_us - first_us
    silent_us = end_us - begin_us - sounded_us
    within = 0
    beyond = 0
    for row in range(sounds.count):
        if _is_sibling(sounds, room, row):
            if first_us <= sounds.time_us[row] <= last_us:
                within += 1
            else:
                beyond += 1
    return _RARER * beyond * (sounded_us >> 10) <= within * (silent_us >> 10)


def _is_sibling(sounds: Sounds, room: Desk, row: int) -> bool:
    if sounds.kind[row] == names.HELD or room.phase_us[row] < ECHO_US:
        return False
    return room.flags[row] & columns.SINGLE > 0 and room.flags[row] & columns.SHORT > 0
