"""The siblings' train: what repeats beside the held sensor, candidates too faint to count singly included."""

import array

from curbtick_wire import names
from micropython import const

from curbtick_probe.bumper.trains.desk import BURST_MOST_US, SHORTEST_US, Desk, slack_us
from curbtick_probe.bumper.trains.quicker import ECHO_US
from curbtick_probe.bumper.trains.sounds import MOST, SINGLE_CDB, Sounds
from curbtick_probe.bumper.trains.train import Train
from curbtick_probe.dsp.train import chain, columns
from curbtick_probe.dsp.train.beats import TWICE_US

_LEVEL_CDB = const(900)
_SPREAD_HZ = const(3500)
_ECHO_BELOW_CDB = const(900)

# A sibling's burst that comes again keeps its frequency this well.
_KEEPS_HZ = const(2500)

# A sound this like one of a train, sooner before it than any sensor's slot, is the same machine's tick.
_TICK_CDB = const(300)
_TICK_HZ = const(1500)

# Scores: a hit counts its evidence above the candidates' threshold, and that it is on time; a miss costs.
_ON_TIME = const(800)
_MISS_COST = const(300)
_THRESHOLD_CDB = const(900)
_EVIDENCE_MOST = const(3000)

# An interval on which too many are missing is lengthened so often at most.
_LONGER_TIMES = const(2)


class Siblings:
    """The best train outside the held one, faint candidates included.

    count, due, interval_us, first_us: as a Train's. score: of its chain, above what chance gives.
    clear: how many of its sounds are clear singly. level_cdb, frequency_hz: medians of these.
    ticks: how many of its clear sounds have one just like them shortly before, which no loop of sensors has.
    others: clear single sounds outside the held train. repeating: those of them that come again at their frequency.
    rows: the sounds that are clear singly.
    """

    def __init__(self) -> None:
        self.rows = array.array("i", [0] * MOST)
        self.clear_all()

    def clear_all(self) -> None:
        """Forget the last reading."""
        self.count = 0
        self.due = 0
        self.interval_us = 0
        self.first_us = 0
        self.score = 0
        self.clear = 0
        self.level_cdb = -32768
        self.frequency_hz = 0
        self.ticks = 0
        self.others = 0
        self.repeating = 0


def find(found: Siblings, held: Train, sounds: Sounds, room: Desk, listened_us: int) -> Siblings:
    """Find the best train among all that is not the held one; return it. Sounds may have come since train.find."""
    found.clear_all()
    room.mark(sounds)
    room.set_rules(_LEVEL_CDB, _SPREAD_HZ, listened_us, _MISS_COST)
    slack = slack_us(held.interval_us)
    if held.count >= 2:
        room.take_phases(sounds, held.first_us, held.interval_us)
    for row in range(sounds.count):
        room.weight[row] = 0
        if room.flags[row] & columns.SHORT and sounds.kind[row] != names.HELD:
            if held.count < 2 or room.slip_us(row, held.interval_us) > slack:
                above_cdb = max(0, sounds.evidence_cdb[row] - _THRESHOLD_CDB)
                room.weight[row] = _ON_TIME + min(_EVIDENCE_MOST, above_cdb)
    _rate(found, sounds, room)
    for _ in range(_LONGER_TIMES):
        if 4 * found.count < 3 * found.due:
            # Two siblings' bursts on one beat of which many are missing: the interval of either is longer.
            room.rules[chain.SHORTEST_US] = found.interval_us * 3 // 2
            _rate(found, sounds, room)
    if found.count >= 2:
        _measure(found, sounds, room)
    _count_others(found, sounds, room)
    return found


def _rate(found: Siblings, sounds: Sounds, room: Desk) -> None:
    """Note the best chain among the weighted sounds."""
    score = room.run_chain(sounds)
    found.score = max(0, score - 2 * _ON_TIME)
    found.count = 0
    found.due = 0
    if score >= 0:
        found.count = room.best[chain.HITS]
        found.due = found.count + room.best[chain.MISSES]
        found.first_us = room.best[chain.FIRST_HIT_US]
        found.interval_us = room.chain_interval_us()


def _measure(found: Siblings, sounds: Sounds, room: Desk) -> None:
    """Take medians over its clear sounds; where none is clear, over all on its beat."""
    found.clear = _on_beat(found, sounds, room, columns.SINGLE)
    n = found.clear or _on_beat(found, sounds, room, 0)
    found.level_cdb = room.median(sounds.level_cdb, found.rows, n)
    found.frequency_hz = room.median(sounds.frequency_hz, found.rows, n)
    for i in range(found.clear):
        found.ticks += _is_tick(sounds, found.rows[i])


def _is_tick(sounds: Sounds, row: int) -> bool:
    """Tell whether a sound just like this one came less than a slot before it; an echo is fainter."""
    before = row - 1
    while before >= 0 and sounds.time_us[row] - sounds.time_us[before] < SHORTEST_US:
        if (
            sounds.time_us[row] - sounds.time_us[before] > TWICE_US
            and abs(sounds.level_cdb[row] - sounds.level_cdb[before]) <= _TICK_CDB
            and abs(sounds.frequency_hz[row] - sounds.frequency_hz[before]) <= _TICK_HZ
        ):
            return True
        before -= 1
    return False


def _on_beat(found: Siblings, sounds: Sounds, room: Desk, asked: int) -> int:
    """Leave in found.rows the weighted sounds on its beat with all the flags asked; return how many."""
    slack = slack_us(found.interval_us)
    room.take_phases(sounds, found.first_us, found.interval_us)
    n = 0
    for row in range(sounds.count):
        if room.weight[row] and room.flags[row] & asked == asked:
            if room.slip_us(row, found.interval_us) <= slack:
                found.rows[n] = row
                n += 1
    return n


def _count_others(found: Siblings, sounds: Sounds, room: Desk) -> None:
    """Count clear single sounds, and those that come again like a sibling's.

    A sound comes again if one of its frequency lies a sibling's interval before or after it. Knocks and clicks that
    come regularly do not keep their frequency.
    """
    for row in range(sounds.count):
        if room.flags[row] & columns.PROOF and sounds.kind[row] != names.HELD:
            found.others += 1
            found.repeating += chain.comes_again(
                sounds.time_us,
                sounds.frequency_hz,
                sounds.count,
                row,
                found.interval_us,
                slack_us(found.interval_us),
                _KEEPS_HZ,
            )


def name_others(found: Siblings, held: Train, interval_us: int, sounds: Sounds, room: Desk) -> None:
    """Tell echoes and siblings among the sounds that are not the held train's. interval_us: of the held sensor's."""
    held_us = interval_us if held.count >= 2 else 0
    if held_us:
        room.take_phases(sounds, held.first_us, held_us)
    for row in range(sounds.count):
        if (
            sounds.kind[row] != names.HELD
            and room.flags[row] & columns.SHORT
            and room.flags[row] & columns.SINGLE
        ):
            if held_us and _is_echo(held, sounds, room, row):
                sounds.kind[row] = names.ECHO
            elif _repeats(held_us or found.interval_us, sounds, row):
                sounds.kind[row] = names.SIBLING
    if not held_us:
        for i in range(found.clear):
            sounds.kind[found.rows[i]] = names.SIBLING


def _is_echo(held: Train, sounds: Sounds, room: Desk, row: int) -> bool:
    return room.phase_us[row] < ECHO_US and sounds.level_cdb[row] < held.level_cdb - _ECHO_BELOW_CDB


def _repeats(interval_us: int, sounds: Sounds, row: int) -> bool:
    """Tell whether another burst lies one interval of the system before or after a sound."""
    if interval_us == 0:
        return False
    return 1 == chain.repeats(
        sounds.time_us,
        sounds.evidence_cdb,
        sounds.length_us,
        sounds.count,
        row,
        interval_us,
        slack_us(interval_us),
        SINGLE_CDB,
        BURST_MOST_US,
    )
