"""The siblings' train: what repeats beside the held sensor, candidates too faint to count singly included."""

from curbtick_wire import names
from micropython import const

from curbtick_probe.bumper.cycle import ECHO_US
from curbtick_probe.bumper.sounds import SINGLE_CDB, Sounds
from curbtick_probe.bumper.train import BURST_MOST_US, SLACK_US, Trains, slack_us
from curbtick_probe.dsp.train import chain, columns

FAINT_LEVEL_CDB = const(900)
FAINT_SPREAD_HZ = const(3500)
ECHO_BELOW_CDB = const(900)

# Scores: a hit counts its evidence above the candidates' threshold, and that it is on time; a miss costs.
_ON_TIME = const(800)
_MISS_COST = const(300)
# Noise alone reaches 1500 once in a thousand readings; knocks and hiss reach further.
FAINT_SCORE = const(2000)


def find(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """Score the best train among all that is not the held one: candidates too faint to count singly included."""
    trains.set_rules(FAINT_LEVEL_CDB, FAINT_SPREAD_HZ, listened_us, _MISS_COST)
    slack = slack_us(trains.interval_us)
    trains.siblings = 0
    if trains.count >= 2:
        trains.take_phases(sounds)
    for row in range(sounds.count):
        trains.weight[row] = 0
        if trains.flags[row] & columns.SHORT and (trains.count < 2 or trains.slip_us(row) > slack):
            trains.weight[row] = _ON_TIME + min(3000, max(0, sounds.evidence_cdb[row] - 900))
    _rate(trains, sounds)
    if 2 * trains.siblings < trains.sibling_due:
        # Two siblings' bursts on one beat of which most are missing: the interval of either is longer.
        trains.rules[chain.SHORTEST_US] = trains.sibling_interval_us * 3 // 2
        _rate(trains, sounds)


def _rate(trains: Trains, sounds: Sounds) -> None:
    """Note the best chain among the weighted sounds as the siblings' train; the held one stays as it is."""
    kept = trains.count
    due = trains.due
    interval_us = trains.interval_us
    first_us = trains.first_us
    trains.count = 0
    trains.due = 0
    trains.faint_score = max(0, trains.best_chain(sounds) - 2 * _ON_TIME)
    trains.siblings = trains.count
    trains.sibling_due = trains.due
    trains.sibling_interval_us = trains.interval_us
    trains.sibling_first_us = trains.first_us
    if trains.count >= 2:
        last_us = trains.best[chain.LAST_HIT_US]
        trains.sibling_cdb = (
            trains.level_at(sounds, trains.first_us) + trains.level_at(sounds, last_us)
        ) // 2
    trains.count = kept
    trains.due = due
    trains.interval_us = interval_us
    trains.first_us = first_us


def name_others(trains: Trains, sounds: Sounds) -> None:
    """Tell echoes and siblings among the sounds that are not the held train's."""
    for row in range(sounds.count):
        if (
            sounds.kind[row] != names.HELD
            and trains.flags[row] & columns.SHORT
            and trains.flags[row] & columns.SINGLE
        ):
            if trains.count >= 2 and _is_echo(trains, sounds, row):
                sounds.kind[row] = names.ECHO
            elif _repeats(trains, sounds, row):
                sounds.kind[row] = names.SIBLING


def _is_echo(trains: Trains, sounds: Sounds, row: int) -> bool:
    return trains.phase_us[row] < ECHO_US and sounds.level_cdb[row] < trains.level_cdb - ECHO_BELOW_CDB


def _repeats(trains: Trains, sounds: Sounds, row: int) -> bool:
    """Tell whether another burst lies one interval of the system before or after a sound."""
    interval_us = trains.interval_us if trains.count >= 2 else trains.sibling_interval_us
    if interval_us == 0:
        return False
    return 1 == chain.repeats(
        sounds.time_us,
        sounds.evidence_cdb,
        sounds.length_us,
        sounds.count,
        row,
        interval_us,
        SLACK_US,
        SINGLE_CDB,
        BURST_MOST_US,
    )
