"""A measured train and the limits in force to PASS, WEAK, DEAD or RETRY with reasons. Knows no samples."""

from curbtick_wire import names
from micropython import const

from curbtick_probe import reason
from curbtick_probe.bumper.siblings import FAINT_SCORE
from curbtick_probe.bumper.train import Trains

SIBLING_HEARD = 1 << names.PROOFS.index("sibling_heard")
BUMPER_HEARD_BEFORE = 1 << names.PROOFS.index("bumper_heard_before")
FRONT_END_LIVE = 1 << names.PROOFS.index("front_end_live")

# A train is one from this many bursts on; the system is proved to transmit by this many of a sibling's.
BURSTS_LEAST = const(3)
PROOF_BURSTS = const(4)

# Bursts of one sensor in a collar that is held still differ by less.
SPREAD_MOST_CDB = const(500)

# With a burst missing, a reading with fewer due than this does not tell the interval by itself.
DUE_ENOUGH = const(8)
INTERVAL_SLIP_US = const(400)

# An early PASS wants the level this far above the pass limit and the frequency this far inside its window.
CLEAR_LEVEL_CDB = const(250)
CLEAR_FREQUENCY_HZ = const(1200)

# A PASS or a WEAK needs its train this far above the noise's rms.
TRAIN_OVER_NOISE_CDB = const(600)

SIBLINGS_LEAST = const(3)


class Ruling:
    """A verdict (names.VERDICTS), its reasons (mask over names.REASONS) and proofs (mask over names.PROOFS)."""

    def __init__(self) -> None:
        self.set(names.RETRY, reason.NOTHING_HEARD, 0)

    def set(self, verdict: int, reasons: int, proofs: int) -> None:
        """Set all three."""
        self.verdict = verdict
        self.reasons = reasons
        self.proofs = proofs


def decide(
    ruling: Ruling,
    trains: Trains,
    limits: dict[str, int],
    limit_set: dict[str, int],
    noise_cdb: int,
    front_end_live: bool,
    heard_before: bool,
) -> None:
    """Rule on a reading that was taken by a sound probe.

    trains: train.Trains, sorted. limits: the class's limits (settings.LIMIT_CLASS); limit_set: the set's own fields.
    noise_cdb: rms over 30-80 kHz. front_end_live: whether the high-gain floor shows a live microphone, asked only for
    a silent reading. heard_before: whether this bumper had a PASS or a WEAK in this visit.
    """
    proofs = 0
    if sibling_proof(trains):
        proofs |= SIBLING_HEARD
    if heard_before:
        proofs |= BUMPER_HEARD_BEFORE
    if front_end_live:
        proofs |= FRONT_END_LIVE
    if noise_cdb > limit_set["noise_max_cdb"]:
        ruling.set(names.RETRY, reason.NOISY, proofs)
    elif has_train(trains, limits):
        _rule_on_train(ruling, trains, limits, noise_cdb, proofs)
    else:
        _rule_on_silence(ruling, trains, limits, proofs)


def has_train(trains: Trains, limits: dict[str, int]) -> bool:
    """Tell whether the held sensor was heard at or above the dead limit."""
    return trains.count >= 2 and trains.level_cdb >= limits["dead_cdb"]


def sibling_proof(trains: Trains) -> bool:
    """Tell whether a train outside the held one proves that the system transmits.

    It needs four bursts on time, at least as many heard as missed, evidence that noise gives less than once in a
    thousand readings, and most of the other sounds must repeat like sensors too.
    """
    return (
        trains.siblings >= PROOF_BURSTS
        and 2 * trains.siblings >= trains.sibling_due
        and trains.faint_score >= FAINT_SCORE
        and 2 * trains.repeating >= trains.clear_count
    )


def faults_of(trains: Trains, limits: dict[str, int]) -> int:
    """Return the reasons that a well-heard train gives against a PASS."""
    reasons = 0
    if trains.level_cdb < limits["pass_cdb"]:
        reasons |= reason.LOW_LEVEL
    if abs(trains.frequency_hz - limits["centre_hz"]) > limits["window_hz"]:
        reasons |= reason.OFF_FREQUENCY
    if is_irregular(trains, limits):
        reasons |= reason.IRREGULAR
    if trains.ringdown_us >= 0:
        if not limits["ringdown_min_us"] <= trains.ringdown_us <= limits["ringdown_max_us"]:
            reasons |= reason.ODD_RINGDOWN
    return reasons


def is_irregular(trains: Trains, limits: dict[str, int]) -> bool:
    """Tell whether the interval lies outside its limits or the share of missing bursts is at its limit."""
    interval_ms = trains.interval_us // 1000
    if not limits["interval_min_ms"] <= interval_ms <= limits["interval_max_ms"]:
        return True
    return (trains.due - trains.count) * 1000 >= limits["missing_permille"] * trains.due


def is_doubtful(trains: Trains, limits: dict[str, int]) -> bool:
    """Tell whether a burst is missing, too few to be WEAK, and too few are due to trust the interval.

    A sensor that misses many bursts can look like one of twice the interval that misses one; siblings that keep the
    interval settle it.
    """
    if trains.due == trains.count or trains.due >= DUE_ENOUGH or is_irregular(trains, limits):
        return False
    slip_us = trains.sibling_interval_us % trains.interval_us
    kept = min(slip_us, trains.interval_us - slip_us) <= INTERVAL_SLIP_US
    return not (kept and trains.siblings >= PROOF_BURSTS)


def _rule_on_train(
    ruling: Ruling, trains: Trains, limits: dict[str, int], noise_cdb: int, proofs: int
) -> None:
    if trains.level_cdb < noise_cdb + TRAIN_OVER_NOISE_CDB:
        ruling.set(names.RETRY, reason.NOISY, proofs)
    elif trains.count < BURSTS_LEAST:
        ruling.set(names.RETRY, reason.TOO_FEW_BURSTS, proofs)
    elif trains.burst_us > limits["burst_max_us"]:
        ruling.set(names.RETRY, reason.NOT_A_BURST, proofs)
    elif trains.spread_cdb > SPREAD_MOST_CDB:
        ruling.set(names.RETRY, reason.MOVED, proofs)
    elif trains.rivals > trains.count or trains.twins:
        ruling.set(names.RETRY, reason.NOISY, proofs)
    elif trains.doubtful or is_doubtful(trains, limits):
        ruling.set(names.RETRY, reason.TOO_FEW_BURSTS, proofs)
    else:
        reasons = faults_of(trains, limits)
        ruling.set(names.WEAK if reasons else names.PASS, reasons, proofs)


def is_plain(trains: Trains) -> bool:
    """Tell whether a train too faint for the held sensor is a sensor's all the same, and not one beat of a chatter."""
    return trains.count >= PROOF_BURSTS and 2 * trains.count >= trains.due and trains.rivals <= trains.count


def _rule_on_silence(ruling: Ruling, trains: Trains, limits: dict[str, int], proofs: int) -> None:
    if trains.loudest_cdb >= limits["dead_cdb"]:
        ruling.set(names.RETRY, reason.TOO_FEW_BURSTS, proofs)
    elif trains.odd_cdb >= limits["dead_cdb"]:
        ruling.set(names.RETRY, reason.NOT_A_BURST, proofs)
    elif proofs & SIBLING_HEARD and trains.sibling_cdb >= limits["dead_cdb"]:
        # Too loud for a neighbour: the held sensor, in noise that lets nobody measure it.
        ruling.set(names.RETRY, reason.NOISY, proofs)
    elif proofs & SIBLING_HEARD or is_plain(trains):
        faint = is_plain(trains) and trains.level_cdb > limits["neighbour_cdb"]
        ruling.set(names.DEAD, reason.LOW_LEVEL if faint else reason.ONLY_NEIGHBOUR, proofs | SIBLING_HEARD)
    elif not proofs & FRONT_END_LIVE:
        ruling.set(names.RETRY, reason.MICROPHONE_FAULT, proofs)
    elif proofs & BUMPER_HEARD_BEFORE:
        ruling.set(names.DEAD, reason.NOTHING_HEARD, proofs)
    else:
        ruling.set(names.RETRY, reason.NOTHING_HEARD, proofs)


def clearly_passes(trains: Trains, limits: dict[str, int]) -> bool:
    """Tell whether a reading can stop early with PASS.

    Three bursts on time, none missing, no other sound as loud, level and frequency well inside, no ring-down too long
    (another's burst over one of them can cut it short): a sensor that misses a burst, or anything irregular, is never
    passed early.
    """
    return (
        trains.count >= BURSTS_LEAST
        and trains.due == trains.count
        and trains.rivals == 0
        and trains.strays == 0
        and not trains.open_question
        and not trains.doubtful
        and trains.spread_cdb <= SPREAD_MOST_CDB // 2
        and trains.level_cdb >= limits["pass_cdb"] + CLEAR_LEVEL_CDB
        and trains.burst_us <= limits["burst_max_us"]
        and abs(trains.frequency_hz - limits["centre_hz"]) <= limits["window_hz"] - CLEAR_FREQUENCY_HZ
        and trains.ringdown_most_us <= limits["ringdown_max_us"]
        and not faults_of(trains, limits)
    )


def bumper_result(
    readings: list[dict[str, int] | None], limit_set: dict[str, int]
) -> tuple[int, list[int], list[int]]:
    """Make a bumper's result from its readings.

    readings: reading record values by position, None for one not read; limit_set: for `below_siblings_cdb`.
    Returns (result, verdicts, reasons), the latter two a list with one entry a position.
    """
    verdicts = [names.RETRY if values is None else values["verdict"] for values in readings]
    reasons = [0 if values is None else values["reasons"] for values in readings]
    if all(_is_silent(values) for values in readings):
        return names.BUMPER_NOT_TRANSMITTING, verdicts, [mask | reason.NOT_TRANSMITTING for mask in reasons]
    _settle_silent(readings, verdicts)
    _compare_siblings(readings, verdicts, reasons, limit_set["below_siblings_cdb"])
    return _result_of(verdicts), verdicts, reasons


def _is_silent(values: dict[str, int] | None) -> bool:
    return (
        values is not None
        and values["verdict"] == names.RETRY
        and bool(values["reasons"] & reason.NOTHING_HEARD)
    )


def _settle_silent(readings: list[dict[str, int] | None], verdicts: list[int]) -> None:
    """A silent position is DEAD where another of the bumper was heard, the front end having been live at the reading.

    The reason stays: nothing heard.
    """
    if names.PASS not in verdicts and names.WEAK not in verdicts:
        return
    for i, values in enumerate(readings):
        if values and _is_silent(values) and values["proofs"] & FRONT_END_LIVE:
            verdicts[i] = names.DEAD


def _compare_siblings(
    readings: list[dict[str, int] | None], verdicts: list[int], reasons: list[int], below_cdb: int
) -> None:
    """A PASS far below the median of the others, of which there are at least three, is WEAK."""
    levels = [
        values["level_cdb"] if values and verdict == names.PASS else None
        for verdict, values in zip(verdicts, readings)
    ]
    for i, level in enumerate(levels):
        if level is not None:
            others = sorted(other for k, other in enumerate(levels) if k != i and other is not None)
            if len(others) >= SIBLINGS_LEAST and level < _median(others) - below_cdb:
                verdicts[i] = names.WEAK
                reasons[i] |= reason.BELOW_SIBLINGS


def _median(ordered: list[int]) -> int:
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle] + ordered[middle - 1]) // 2


def _result_of(verdicts: list[int]) -> int:
    if names.RETRY in verdicts:
        return names.BUMPER_INCOMPLETE
    if all(verdict == names.PASS for verdict in verdicts):
        return names.BUMPER_ALL_PASS
    return names.BUMPER_REPAIR
