"""How often the system really fires: what the held train's interval alone does not tell."""

from curbtick_wire import names
from micropython import const

from .dsp import chain

# A sound with so much evidence has a trustworthy level, sweep and length.
CLEAR_CDB = const(2300)
BURST_MOST_US = const(3500)

# A burst that began before the reading is not whole, and one that began this shortly before its end may still be open.
WHOLE_FROM_US = const(600)
OPEN_US = const(5000)

SLACK_US = const(350)
SHORTEST_US = const(28000)
ECHO_US = const(26000)

# Bursts this like the held train's are the held sensor's own.
TWIN_LEVEL_CDB = const(250)
TWIN_SPREAD_HZ = const(2500)
PARTS_MOST = const(8)

# A sibling is clear from this much evidence on, if it comes twice; singly, as part of a proof, from PROOF_CLEAR_CDB
# on. At 15 dB noise changes it by 1.1 dB, so that the means of n bursts of one sensor differ by less than 3.1 dB /
# sqrt(n), twice their standard deviation.
SIBLING_CLEAR_CDB = const(1280)
PROOF_CLEAR_CDB = const(1480)
SIBLING_FIRM_CDB = const(1750)
ALIKE_SQUARED = const(96100)
ALIKE_MOST_CDB = const(310)


def slack_us(interval_us):
    """Return how far off its beat a burst may be, in us."""
    return SLACK_US + interval_us // 400


def slip_us(trains, k, step_us):
    """Return how far sound k is from the nearest beat of the held train at a step, in us."""
    late = (trains.time_us[k] - trains.first_us) % step_us
    return min(late, step_us - late)


def may_be_member(sounds, row):
    """Tell whether a sound on the train's beat can be its burst: there noise may have garbled its sweep."""
    if sounds.time_us[row] < WHOLE_FROM_US or sounds.evidence_cdb[row] < CLEAR_CDB:
        return False
    return sounds.length_us[row] <= BURST_MOST_US


def count_due(trains, step_us, listened_us):
    """Give the held train a shorter interval, and count the bursts due at it."""
    trains.interval_us = step_us
    first = trains.first_us % step_us
    if first < WHOLE_FROM_US + SLACK_US:
        first += step_us
    trains.due = max(trains.count, (listened_us - OPEN_US - first) // step_us + 1)


def explain_twins(trains, sounds, listened_us):
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


def _twins_off(trains, sounds, step_us):
    """Count the bursts like the held train's that are off the beat of a step."""
    n = 0
    for k in range(trains.rows):
        row = trains.order[k]
        if may_be_member(sounds, row) and _is_alike(trains, sounds, row):
            if slip_us(trains, k, step_us) > slack_us(trains.interval_us):
                n += 1
    return n


def _is_alike(trains, sounds, row):
    if abs(sounds.level_cdb[row] - trains.level_cdb) > TWIN_LEVEL_CDB:
        return False
    return abs(sounds.frequency_hz[row] - trains.frequency_hz) <= TWIN_SPREAD_HZ


def find_quicker(trains, sounds, listened_us):
    """Where the siblings repeat within the held train's interval, the system fires more often: count by that.

    Siblings that fire in turn can look like one that fires more often. So they must come again after the shorter
    interval, four of five that are clear, with the same mean evidence (noise changes a faint level more); none
    may lie where the held sensor would be due; and there must be two of them, or one that comes three times within the
    held train's interval. With one that comes twice the question stays open (trains.open_question), and nothing is
    passed early. Where the siblings are faint, chance makes them look alike too often: the reading is trains.doubtful.
    """
    trains.open_question = False
    trains.doubtful = False
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


def _phases_that_repeat(trains, sounds, step_us, part):
    """Count the clear siblings' phases within a step; 0 if too few of them come again. Sets trains.firm."""
    n = 0
    again = 0
    alone = 0
    trains.firm = True
    for k in range(trains.rows):
        # What comes only once is nobody's train, and tells nothing.
        if _is_clear_sibling(trains, sounds, k) and _mean_evidence(trains, sounds, trains.time_us[k]) >= 2:
            if sounds.evidence_cdb[trains.order[k]] < SIBLING_FIRM_CDB:
                trains.firm = False
            if slip_us(trains, k, step_us) <= 2 * SLACK_US:
                return 0
            if _comes_every(trains, sounds, k, step_us, part):
                again += 1
                n = _add_phase(trains, trains.time_us[k] % step_us, step_us, n)
            else:
                alone += 1
    return n if 4 * alone <= again else 0


def _is_clear_sibling(trains, sounds, k):
    row = trains.order[k]
    if sounds.evidence_cdb[row] < SIBLING_CLEAR_CDB or sounds.length_us[row] > BURST_MOST_US:
        return False
    late = (trains.time_us[k] - trains.first_us) % trains.interval_us
    return ECHO_US < late < trains.interval_us - 2 * SLACK_US


def _comes_every(trains, sounds, k, step_us, part):
    """Tell whether sound k has a companion, as loud on average, on every step of the held train's interval."""
    count = _mean_evidence(trains, sounds, trains.time_us[k])
    mean_cdb = trains.mean_cdb
    for m in range(1, part):
        other_count = _mean_evidence(trains, sounds, trains.time_us[k] + m * step_us)
        fewer = min(count, other_count)
        apart_cdb = abs(trains.mean_cdb - mean_cdb)
        # The first bound keeps the product below a chip's small integers.
        if fewer < 2 or apart_cdb > ALIKE_MOST_CDB or apart_cdb * apart_cdb * fewer > ALIKE_SQUARED:
            return False
    return True


def _mean_evidence(trains, sounds, beat_us):
    """Set trains.mean_cdb: the mean evidence of the sounds on a beat of the held train's interval; return how many."""
    pair = trains.pair
    chain.on_beat(
        trains.time_us, 0, trains.order, sounds.evidence_cdb, pair, trains.rows, beat_us, trains.interval_us, SLACK_US
    )
    trains.mean_cdb = pair[1] // max(1, pair[0])
    return pair[0]


def _add_phase(trains, phase_us, step_us, n):
    """Note a phase among the first n of trains.values if it is a new one; return how many there are."""
    for i in range(n):
        apart_us = abs(trains.values[i] - phase_us)
        if min(apart_us, step_us - apart_us) <= 2 * SLACK_US:
            return n
    trains.values[n] = phase_us
    return n + 1


def share_that_repeats(trains, sounds):
    """Set trains.clear_count and trains.repeating: clear single sounds, and those that come again like a sibling's.

    A sound comes again if one of its frequency lies a sibling's interval before or after it. Knocks and clicks that
    come regularly do not keep their frequency.
    """
    trains.clear_count = 0
    trains.repeating = 0
    for k in range(trains.rows):
        if sounds.evidence_cdb[trains.order[k]] >= PROOF_CLEAR_CDB and sounds.kind[trains.order[k]] != names.HELD:
            trains.clear_count += 1
            if _keeps_frequency(trains, k, trains.sibling_interval_us):
                trains.repeating += 1


def _keeps_frequency(trains, k, interval_us):
    rows = trains.rows
    return chain.comes_again(trains.time_us, 0, trains.hz, rows, k, interval_us, SLACK_US, TWIN_SPREAD_HZ)
