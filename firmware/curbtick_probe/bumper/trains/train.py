"""The held sensor's train: the loudest regular one among a reading's sounds. Knows no samples and no limits.

All sensors of a system fire in turn, so that every train of one vehicle repeats with the same interval: the held
sensor's is the loudest regular one, the others fall between its bursts at other phases.
"""

import array

from curbtick_wire import names
from micropython import const

from curbtick_probe.bumper.trains import desk
from curbtick_probe.bumper.trains.desk import Desk
from curbtick_probe.bumper.trains.sounds import MOST, Sounds
from curbtick_probe.dsp.train import chain, columns

HELD_LEAST = const(3)
_LEVEL_CDB = const(500)
_ANY_SPREAD_HZ = const(100000)
_RIVAL_BELOW_CDB = const(600)

# Bursts on the train's beat that are so much fainter are echoes of something else.
_FAR_BELOW_CDB = const(3500)

# Scores of a chain: each hit, and what a miss costs.
_HIT = const(1000)
_MISS = const(450)

# How far below the loudest burst a train is sought, step by step.
_FIRST_DROP_CDB = const(800)
_LAST_DROP_CDB = const(4800)
_DROP_CDB = const(1000)


class Train:
    """A train of bursts, and what was measured of it; the numbers are medians over its bursts.

    count: its bursts. due: how many were due at its interval. rows: which sounds they are.
    first_us, last_us: times of two of its bursts, the first and the last where all keep the beat.
    ringdown_us: lower quartile of its bursts' ring-downs; -1 where none was measured. ringdown_most_us: the longest.
    top_cdb: level of its loudest burst. spread_cdb: between that and its faintest.
    pair_us: time between the two loudest alike bursts, where they are no train and none is missing between them.
    rivals: sounds like bursts, outside the train, that are as loud. strays: loud sounds that are no bursts.
    loudest_cdb: level of the loudest burst of all.
    """

    def __init__(self) -> None:
        self.rows = array.array("i", [0] * MOST)
        self.clear()

    def clear(self) -> None:
        """Forget the last reading."""
        self.count = 0
        self.due = 0
        self.first_us = 0
        self.last_us = 0
        self.interval_us = 0
        self.level_cdb = -32768
        self.frequency_hz = 0
        self.sweep_hz = 0
        self.burst_us = 0
        self.ringdown_us = -1
        self.ringdown_most_us = -1
        self.top_cdb = -32768
        self.spread_cdb = 0
        self.pair_us = 0
        self.rivals = 0
        self.strays = 0
        self.loudest_cdb = -32768


def find(train: Train, sounds: Sounds, room: Desk, listened_us: int) -> Train:
    """Find the loudest regular train, at the interval of its own bursts; return it."""
    train.clear()
    room.mark(sounds)
    _find_chain(train, sounds, room, listened_us)
    if train.count >= 2:
        _collect(train, sounds, room)
    settle(train, sounds, room)
    return train


def find_again(train: Train, sounds: Sounds) -> None:
    """Set the train's rows anew, for sounds that came since may have moved them."""
    n = 0
    for row in range(sounds.count):
        if sounds.kind[row] == names.HELD:
            train.rows[n] = row
            n += 1
    train.count = n


def settle(train: Train, sounds: Sounds, room: Desk) -> None:
    """Name the train's sounds, and count what is about as loud: bursts, and what is none."""
    for row in range(sounds.count):
        sounds.kind[row] = names.OTHER
    for i in range(train.count):
        sounds.kind[train.rows[i]] = names.HELD
    train.rivals = _count_loud(train, sounds, room, columns.BURST)
    train.strays = _count_loud(train, sounds, room, columns.CLEAR) - train.rivals


def _find_chain(train: Train, sounds: Sounds, room: Desk, listened_us: int) -> None:
    """The train is the best chain among the clear, burst-like sounds, the loudest ones tried first."""
    room.set_rules(_LEVEL_CDB, _ANY_SPREAD_HZ, listened_us, _MISS)
    train.loudest_cdb = _loudest_burst_cdb(sounds, room)
    tried = 0
    for drop_cdb in range(_FIRST_DROP_CDB, _LAST_DROP_CDB + 1, _DROP_CDB):
        n = room.weigh(sounds, columns.BURST, train.loudest_cdb - drop_cdb, _HIT)
        if n > tried:
            tried = n
            train.count = 0
            if room.run_chain(sounds) >= 0:
                _take_chain(train, room)
            if train.count == train.due == 2 and not train.pair_us:
                train.pair_us = train.interval_us
            if train.count >= HELD_LEAST and 3 * train.count >= train.due:
                return


def _take_chain(train: Train, room: Desk) -> None:
    best = room.best
    train.count = best[chain.HITS]
    train.due = best[chain.HITS] + best[chain.MISSES]
    train.first_us = best[chain.FIRST_HIT_US]
    train.interval_us = room.chain_interval_us()


def _loudest_burst_cdb(sounds: Sounds, room: Desk) -> int:
    loudest_cdb = -32768
    for row in range(sounds.count):
        if room.flags[row] & columns.BURST == columns.BURST:
            loudest_cdb = max(loudest_cdb, sounds.level_cdb[row])
    return loudest_cdb


def _collect(train: Train, sounds: Sounds, room: Desk) -> None:
    """Collect the train's bursts by their phase, whatever their level, and measure them."""
    slack = desk.slack_us(train.interval_us)
    room.take_phases(sounds, train.first_us, train.interval_us)
    n = 0
    beyond = 0
    last_us = -desk.LONGEST_US
    for row in range(sounds.count):
        if (
            room.flags[row] & columns.MEMBER == columns.MEMBER
            and room.slip_us(row, train.interval_us) <= slack
        ):
            if sounds.time_us[row] - last_us > 2 * slack:
                train.rows[n] = row
                n += 1
                beyond += _is_beyond(room, sounds.time_us[row])
            elif sounds.level_cdb[row] > sounds.level_cdb[train.rows[n - 1]]:
                train.rows[n - 1] = row
            last_us = sounds.time_us[row]
    train.last_us = last_us
    measure(train, sounds, room, n)
    train.due = max(train.due + beyond, train.count)


def _is_beyond(room: Desk, time_us: int) -> bool:
    """Tell whether a burst lies in the margins of the reading, where the chain asked for none."""
    if time_us >= room.rules[chain.END_US]:
        return time_us > room.best[chain.LAST_HIT_US]
    return time_us <= room.rules[chain.BEGIN_US] and time_us < room.best[chain.FIRST_HIT_US]


def measure(train: Train, sounds: Sounds, room: Desk, n: int) -> None:
    """Take medians over the first n of train.rows, without those that are far fainter."""
    rows = train.rows
    train.level_cdb = room.median(sounds.level_cdb, rows, n)
    n = _keep_near_level(train, sounds, n)
    train.count = n
    train.frequency_hz = room.median(sounds.frequency_hz, rows, n)
    train.sweep_hz = room.median(sounds.sweep_hz, rows, n)
    train.burst_us = room.median(sounds.length_us, rows, n)
    _take_ringdown(train, sounds, room)


def _keep_near_level(train: Train, sounds: Sounds, n: int) -> int:
    """Drop bursts that are far fainter than the train (echoes that fall on its phase); note the spread."""
    kept = 0
    low_cdb = 32767
    high_cdb = -32768
    for i in range(n):
        row = train.rows[i]
        level_cdb = sounds.level_cdb[row]
        if level_cdb > train.level_cdb - _FAR_BELOW_CDB:
            train.rows[kept] = row
            kept += 1
            low_cdb = min(low_cdb, level_cdb)
            high_cdb = max(high_cdb, level_cdb)
    train.top_cdb = high_cdb
    train.spread_cdb = high_cdb - low_cdb
    return kept


def _take_ringdown(train: Train, sounds: Sounds, room: Desk) -> None:
    """Take the lower quartile of the bursts' ring-downs, for noise makes a fall longer; and the longest."""
    kept = 0
    for i in range(train.count):
        ringdown_us = sounds.ringdown_us[train.rows[i]]
        if ringdown_us >= 0:
            room.insert(kept, ringdown_us)
            kept += 1
    if kept:
        train.ringdown_us = room.values[kept - 1 >> 2]
        train.ringdown_most_us = room.values[kept - 1]


def _count_loud(train: Train, sounds: Sounds, room: Desk, asked: int) -> int:
    return columns.count_loud(
        sounds.level_cdb,
        room.flags,
        sounds.kind,
        sounds.count,
        asked,
        train.level_cdb - _RIVAL_BELOW_CDB,
        names.HELD,
    )
