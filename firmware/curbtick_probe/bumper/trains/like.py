"""The held sensor's bursts, known by their likeness: in one collar they differ by next to nothing."""

from curbtick_wire import names
from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper.trains import train
from curbtick_probe.bumper.trains.desk import Desk
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.bumper.trains.train import Train
from curbtick_probe.dsp.train import alike, columns
from curbtick_probe.dsp.train.beats import TWICE_US

# Bursts this like one of a sensor's are its own.
_LIKE_CDB = const(250)
_LIKE_HZ = const(2500)
_LIKE_US = const(200)
_LIKE_PARTS = const(4)


def gather(held: Train, sounds: Sounds, room: Desk) -> int:
    """Leave in room.rows the held train's bursts and those just like them, found once each; return how many."""
    n = _gather_near(sounds, room, held.level_cdb, held.frequency_hz, held.burst_us, columns.MEMBER)
    return _join_held(held, sounds, room, n)


def gather_most(sounds: Sounds, room: Desk) -> int:
    """Leave in room.rows the most bursts that are like one of them; return how many."""
    most = 0
    best = -1
    for row in range(sounds.count):
        if room.flags[row] & columns.BURST == columns.BURST:
            n = _gather_row(sounds, room, row)
            if n > most:
                most = n
                best = row
    return _gather_row(sounds, room, best) if most else 0


def take(held: Train, sounds: Sounds, room: Desk, n: int) -> None:
    """Make the first n of room.rows the held train's bursts, and measure them."""
    for i in range(n):
        held.rows[i] = room.rows[i]
    train.measure(held, sounds, room, n)
    train.settle(held, sounds, room)


def times(times_us: Ints, rows: Ints, n: int, sounds: Sounds) -> int:
    """Set the times of the first n of some rows; return how many they are."""
    for i in range(n):
        times_us[i] = sounds.time_us[rows[i]]
    return n


def _gather_row(sounds: Sounds, room: Desk, row: int) -> int:
    level_cdb, frequency_hz = sounds.level_cdb[row], sounds.frequency_hz[row]
    return _gather_near(sounds, room, level_cdb, frequency_hz, sounds.length_us[row], columns.BURST)


def _gather_near(
    sounds: Sounds, room: Desk, level_cdb: int, frequency_hz: int, length_us: int, asked: int
) -> int:
    near = room.like
    near[alike.LEVEL] = level_cdb
    near[alike.HZ] = frequency_hz
    near[alike.LENGTH] = length_us
    near[alike.LEVEL_SPREAD] = _LIKE_CDB
    near[alike.HZ_SPREAD] = _LIKE_HZ
    near[alike.LENGTH_SPREAD] = _LIKE_US + length_us // _LIKE_PARTS
    return alike.gather(
        sounds.level_cdb,
        sounds.frequency_hz,
        sounds.length_us,
        room.flags,
        near,
        room.rows,
        sounds.count,
        asked,
    )


def _join_held(held: Train, sounds: Sounds, room: Desk, n: int) -> int:
    """Merge the first n of room.rows with the held train's, in the order of time; return how many there are."""
    for i in range(n):
        room.weight[i] = room.rows[i]
    taken = 0
    kept = 0
    for i in range(held.count):
        row = held.rows[i]
        while taken < n and room.weight[taken] < row:
            kept = _keep(sounds, room, kept, room.weight[taken])
            taken += 1
        if taken < n and room.weight[taken] == row:
            taken += 1
        kept = _keep(sounds, room, kept, row)
    while taken < n:
        kept = _keep(sounds, room, kept, room.weight[taken])
        taken += 1
    return kept


def _keep(sounds: Sounds, room: Desk, kept: int, row: int) -> int:
    """Add a sound to room.rows. Of one that was found twice the held train's stays, or else the first."""
    if kept and sounds.time_us[row] - sounds.time_us[room.rows[kept - 1]] < TWICE_US:
        if sounds.kind[row] == names.HELD:
            room.rows[kept - 1] = row
        return kept
    room.rows[kept] = row
    return kept + 1
