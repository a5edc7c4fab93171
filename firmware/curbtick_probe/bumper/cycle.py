"""How often the system really fires: what the held train's interval alone does not tell."""

from curbtick_wire import names
from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper.sounds import Sounds
from curbtick_probe.bumper.train import OPEN_US, SHORTEST_US, SLACK_US, WHOLE_FROM_US, Trains, slack_us
from curbtick_probe.dsp.train import chain, columns

# What comes this soon after a burst may be its echo.
ECHO_US = const(26000)

# Bursts this like the held train's are the held sensor's own.
TWIN_LEVEL_CDB = const(250)
TWIN_SPREAD_HZ = const(2500)
PARTS_MOST = const(8)

# A sibling is clear from this much evidence on, if it comes twice; singly, as part of a proof, from PROOF_CLEAR_CDB
# on. At 15 dB noise changes it by 1.1 dB, so that the means of n bursts of one sensor differ by less than 3.1 dB /
# sqrt(n), twice their standard deviation.
SIBLING_FIRM_CDB = const(1750)
ALIKE_SQUARED = const(96100)
ALIKE_MOST_CDB = const(310)


def count_due(trains: Trains, step_us: int, listened_us: int) -> None:
    """Give the held train a shorter interval, and count the bursts due at it."""
    trains.interval_us = step_us
    first = trains.first_us % step_us
    if first < WHOLE_FROM_US + SLACK_US:
        first += step_us
    end_us = max(listened_us - OPEN_US, trains.last_us + SLACK_US)
    trains.due = max(trains.count, (end_us - first) // step_us + 1)


def explain_twins(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """Count bursts just like the held train's, but off its beat, as the held sensor's too: a loose contact.

    Then the interval is the longest part of the train's that puts them all on the beat; where no part does, they stay
    unexplained and are counted in trains.twins.
    """
    n = _twins_off(trains, sounds, trains.interval_us)
    trains.twins = n
    if n == 0:
        return
    for part in range(2, PARTS_MOST + 1):
        step_us = trains.interval_us // part
        if step_us >= SHORTEST_US and _twins_off(trains, sounds, step_us) == 0:
            trains.count += n
            trains.twins = 0
            count_due(trains, step_us, listened_us)
            return


def _twins_off(trains: Trains, sounds: Sounds, step_us: int) -> int:
    """Count the bursts like the held train's that are off the beat of a step."""
    like = trains.like
    like[columns.LEVEL] = trains.level_cdb
    like[columns.HZ] = trains.frequency_hz
    like[columns.LEVEL_SPREAD] = TWIN_LEVEL_CDB
    like[columns.HZ_SPREAD] = TWIN_SPREAD_HZ
    asked = columns.MEMBER
    slack = slack_us(trains.interval_us)
    hz = sounds.frequency_hz
    return columns.like_off_beat(
        trains.phase_us, sounds.level_cdb, hz, trains.flags, like, sounds.count, asked, step_us, slack
    )


def find_quicker(trains: Trains, sounds: Sounds, listened_us: int) -> None:
    """Where the siblings repeat within the held train's interval, the system fires more often: count by that.

    Siblings that fire in turn can look like one that fires more often. So they must come again after the shorter
    interval, four of five that are clear, with the same mean evidence (noise changes a faint level more); none
    may lie where the held sensor would be due; and there must be two of them, or one that comes three times within the
    held train's interval. With one that comes twice the question stays open (trains.open_question), and nothing is
    passed early. Where the siblings are faint, chance makes them look alike too often: the reading is trains.doubtful.
    """
    trains.open_question = False
    trains.doubtful = False
    _choose_siblings(trains, sounds)
    for part in (2, 3):
        step_us = trains.interval_us // part
        if step_us >= SHORTEST_US:
            different = _phases_that_repeat(trains, sounds, step_us, part)
            if different >= 2 or different == 1 and part == 3:
                if trains.firm:
                    count_due(trains, step_us, listened_us)
                else:
                    trains.doubtful = True
                return
            if different:
                trains.open_question = True


def _choose_siblings(trains: Trains, sounds: Sounds) -> None:
    """Leave in trains.weight, not 0, which sounds are clear siblings, and in trains.beats what lies on their beats."""
    trains.take_phases(sounds)
    asked = columns.SIBLING | columns.SHORT
    before_us = trains.interval_us - 2 * SLACK_US
    columns.choose(trains.phase_us, trains.flags, trains.weight, sounds.count, asked, ECHO_US, before_us)
    _fill_beats(trains, sounds, trains.beats.hits, trains.beats.means_cdb, 0)


def _phases_that_repeat(trains: Trains, sounds: Sounds, step_us: int, part: int) -> int:
    """Count the clear siblings' phases within a step; 0 if too few of them come again. Sets trains.firm."""
    n = 0
    again = 0
    alone = 0
    trains.firm = True
    _mark_companions(trains, sounds, step_us, part)
    for row in range(sounds.count):
        # What comes only once is nobody's train, and tells nothing.
        if trains.weight[row] and trains.beats.hits[row] >= 2:
            if sounds.evidence_cdb[row] < SIBLING_FIRM_CDB:
                trains.firm = False
            late = trains.phase_us[row] % step_us
            if min(late, step_us - late) <= 2 * SLACK_US:
                return 0
            if trains.weight[row] == columns.ALIKE:
                again += 1
                n = _add_phase(trains, late, step_us, n)
            else:
                alone += 1
    return n if 4 * alone <= again else 0


def _mark_companions(trains: Trains, sounds: Sounds, step_us: int, part: int) -> None:
    """Leave 2 in trains.weight for siblings with a companion, as loud on average, on every step of the interval."""
    beats = trains.beats
    for row in range(sounds.count):
        if trains.weight[row]:
            trains.weight[row] = columns.ALIKE
    for m in range(1, part):
        _fill_beats(trains, sounds, beats.other_hits, beats.other_means_cdb, m * step_us)
        columns.keep_alike(
            beats.hits,
            beats.means_cdb,
            beats.other_hits,
            beats.other_means_cdb,
            trains.weight,
            sounds.count,
            ALIKE_MOST_CDB,
            ALIKE_SQUARED,
        )


def _fill_beats(trains: Trains, sounds: Sounds, hits: Ints, means_cdb: Ints, after_us: int) -> None:
    columns.on_beats(
        trains.phase_us,
        0,
        sounds.evidence_cdb,
        trains.weight,
        hits,
        means_cdb,
        sounds.count,
        after_us,
        trains.interval_us,
        SLACK_US,
    )


def _add_phase(trains: Trains, phase_us: int, step_us: int, n: int) -> int:
    """Note a phase among the first n of trains.values if it is a new one; return how many there are."""
    for i in range(n):
        apart_us = abs(trains.values[i] - phase_us)
        if min(apart_us, step_us - apart_us) <= 2 * SLACK_US:
            return n
    trains.values[n] = phase_us
    return n + 1


def share_that_repeats(trains: Trains, sounds: Sounds) -> None:
    """Set trains.clear_count and trains.repeating: clear single sounds, and those that come again like a sibling's.

    A sound comes again if one of its frequency lies a sibling's interval before or after it. Knocks and clicks that
    come regularly do not keep their frequency.
    """
    trains.clear_count = 0
    trains.repeating = 0
    for row in range(sounds.count):
        if trains.flags[row] & columns.PROOF and sounds.kind[row] != names.HELD:
            trains.clear_count += 1
            if _keeps_frequency(sounds, row, trains.sibling_interval_us):
                trains.repeating += 1


def _keeps_frequency(sounds: Sounds, row: int, interval_us: int) -> bool:
    return 1 == chain.comes_again(
        sounds.time_us, sounds.frequency_hz, sounds.count, row, interval_us, SLACK_US, TWIN_SPREAD_HZ
    )
