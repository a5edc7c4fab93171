"""A reading's evidence and the limits in force to PASS, WEAK, DEAD or RETRY with reasons. Knows no samples."""

from curbtick_wire import names
from micropython import const

from curbtick_probe import reason
from curbtick_probe.bumper.trains import cycle, loop
from curbtick_probe.bumper.trains.evidence import Evidence
from curbtick_probe.bumper.trains.siblings import Siblings
from curbtick_probe.bumper.trains.train import Train

SIBLING_HEARD = 1 << names.PROOFS.index("sibling_heard")
BUMPER_HEARD_BEFORE = 1 << names.PROOFS.index("bumper_heard_before")
FRONT_END_LIVE = 1 << names.PROOFS.index("front_end_live")

# A train is one from this many bursts on; the system is proved to transmit by this many of a sibling's.
BURSTS_LEAST = const(3)
PROOF_BURSTS = const(4)

# Another vehicle's sensor, nose to nose at 1.5 m, is heard at -56 dBFS (hardware_notes/collar.md). At 15 dB over the
# noise the median of four bursts is off by 0.55 dB rms: three times that above it lies what only a sibling can have.
_OTHER_VEHICLE_CDB = const(-5600)
PROOF_CDB = const(_OTHER_VEHICLE_CDB + 165)

# Bursts of one sensor in a collar that is held still differ by less.
SPREAD_MOST_CDB = const(500)

# With a burst missing, a reading with fewer due than this does not tell the interval by itself.
DUE_ENOUGH = const(8)
INTERVAL_SLIP_US = const(400)

# An early PASS wants the level this far above the pass limit and the frequency this far inside its window.
CLEAR_LEVEL_CDB = const(250)
CLEAR_FREQUENCY_HZ = const(1200)

# A PASS or a WEAK needs its train this far above the noise's rms. A single burst of half a millisecond at the level of
# the noise's rms over 50 kHz has an evidence of 14 dB, so that noise so far below the dead limit hides none.
TRAIN_OVER_NOISE_CDB = const(600)
DEAD_OVER_NOISE_CDB = const(400)


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
    heard: Evidence,
    limits: dict[str, int],
    limit_set: dict[str, int],
    noise_cdb: int,
    front_end_live: bool,
    before_us: int,
) -> None:
    """Rule on a reading that was taken by a sound probe.

    heard: sorted. limits: the class's limits (settings.LIMIT_CLASS); limit_set: the set's own fields.
    noise_cdb: rms over 30-80 kHz. front_end_live: whether the high-gain floor shows a live microphone, needed where
    asks_for_floor says so. before_us: the interval of this bumper's own PASS or WEAK in this visit; 0 where there was
    none; 1 where it is not known.
    """
    proofs = 0
    if sibling_proof(heard.siblings, limits, before_us):
        proofs |= SIBLING_HEARD
    if before_us:
        proofs |= BUMPER_HEARD_BEFORE
    if front_end_live:
        proofs |= FRONT_END_LIVE
    if noise_cdb > limit_set["noise_max_cdb"]:
        ruling.set(names.RETRY, reason.NOISY, proofs)
    elif has_train(heard.train, limits):
        _rule_on_train(ruling, heard, limits, noise_cdb, proofs, before_us)
    else:
        _rule_on_silence(ruling, heard, limits, noise_cdb, proofs)


def has_train(held: Train, limits: dict[str, int]) -> bool:
    """Tell whether the held sensor was heard, one burst at least at or above the dead limit."""
    return held.count >= 2 and held.top_cdb >= limits["dead_cdb"]


def asks_for_floor(held: Train, limits: dict[str, int]) -> bool:
    """Tell whether the verdict rests on how well the microphone hears: only a live one has a floor at high gain."""
    return held.count < 2 or held.level_cdb < limits["pass_cdb"]


def sibling_proof(siblings: Siblings, limits: dict[str, int], before_us: int) -> bool:
    """Tell whether a train outside the held one proves that this vehicle's system transmits.

    It needs four bursts on time that are clear singly, three of four that are due, evidence that noise gives
    less than once in a thousand readings, and most of the other sounds must repeat like sensors too. Its frequency is
    the class's, its interval a system's, and this bumper's own where that is known; and it is louder than another
    vehicle's can be. What ticks more quickly than sensors take turns is a machine.
    """
    return (
        siblings.clear >= PROOF_BURSTS
        and 4 * siblings.count >= 3 * siblings.due
        and siblings.score >= loop.PROOF_SCORE
        and 2 * siblings.repeating >= siblings.others
        and 2 * siblings.ticks <= siblings.clear
        and is_of_system(siblings.level_cdb, siblings.frequency_hz, siblings.interval_us, limits)
        and loop.agrees(siblings.interval_us, before_us)
    )


def is_of_system(level_cdb: int, frequency_hz: int, interval_us: int, limits: dict[str, int]) -> bool:
    """Tell whether a train can only be this vehicle's, by its level, its frequency and its interval."""
    return (
        level_cdb >= PROOF_CDB
        and abs(frequency_hz - limits["centre_hz"]) <= limits["window_hz"]
        and limits["interval_min_ms"] <= interval_us // 1000 <= limits["interval_max_ms"]
    )


def leaves_out(heard: Evidence, before_us: int) -> bool:
    """Tell whether the held sensor comes once in a few of its bumper's cycles, so that it may leave bursts out.

    All sensors of a bumper share one loop: a place that was read before tells its cycle, or else the siblings do.
    """
    times = loop.times_of(heard.cycle.interval_us, before_us) if before_us > 1 else 0
    return times > 1 or times == 0 and heard.is_quicker


def faults_of(heard: Evidence, limits: dict[str, int]) -> int:
    """Return the reasons that a well-heard train gives against a PASS."""
    held = heard.train
    reasons = 0
    if held.level_cdb < limits["pass_cdb"]:
        reasons |= reason.LOW_LEVEL
    if abs(held.frequency_hz - limits["centre_hz"]) > limits["window_hz"]:
        reasons |= reason.OFF_FREQUENCY
    if is_irregular(heard, limits):
        reasons |= reason.IRREGULAR
    if held.ringdown_us >= 0:
        if not limits["ringdown_min_us"] <= held.ringdown_us <= limits["ringdown_max_us"]:
            reasons |= reason.ODD_RINGDOWN
    return reasons


def is_irregular(heard: Evidence, limits: dict[str, int]) -> bool:
    """Tell whether the interval lies outside its limits or the share of missing bursts is at its limit."""
    interval_ms = heard.cycle.interval_us // 1000
    if not limits["interval_min_ms"] <= interval_ms <= limits["interval_max_ms"]:
        return True
    due = heard.cycle.due
    return (due - heard.train.count) * 1000 >= limits["missing_permille"] * due


def is_doubtful(heard: Evidence, limits: dict[str, int]) -> bool:
    """Tell whether a burst is missing, too few to be WEAK, and too few are due to trust the interval.

    A sensor that misses many bursts can look like one of twice the interval that misses one; siblings that keep the
    interval settle it.
    """
    found = heard.cycle
    if found.timing != cycle.STEADY:
        return False
    if found.due == heard.train.count or found.due >= DUE_ENOUGH or is_irregular(heard, limits):
        return False
    slip_us = heard.siblings.interval_us % found.interval_us
    kept = min(slip_us, found.interval_us - slip_us) <= INTERVAL_SLIP_US
    return not (kept and heard.siblings.count >= PROOF_BURSTS)


def _rule_on_train(
    ruling: Ruling, heard: Evidence, limits: dict[str, int], noise_cdb: int, proofs: int, before_us: int
) -> None:
    doubt = _doubt_of(heard, limits, noise_cdb) or _doubt_of_timing(heard, limits, before_us)
    if doubt:
        ruling.set(names.RETRY, doubt, proofs)
    elif asks_for_floor(heard.train, limits) and not proofs & FRONT_END_LIVE:
        ruling.set(names.RETRY, reason.MICROPHONE_FAULT, proofs)
    else:
        reasons = faults_of(heard, limits)
        ruling.set(names.WEAK if reasons else names.PASS, reasons, proofs)


def _doubt_of(heard: Evidence, limits: dict[str, int], noise_cdb: int) -> int:
    """Return the reason why a train that was heard cannot be judged, its timing left out; 0 for none."""
    held = heard.train
    if held.level_cdb < noise_cdb + TRAIN_OVER_NOISE_CDB:
        doubt = reason.NOISY
    elif held.count < BURSTS_LEAST:
        doubt = reason.TOO_FEW_BURSTS
    elif held.burst_us > limits["burst_max_us"]:
        doubt = reason.NOT_A_BURST
    elif held.spread_cdb > SPREAD_MOST_CDB:
        doubt = reason.MOVED
    elif held.rivals > held.count:
        doubt = reason.NOISY
    else:
        doubt = 0
    return doubt


def _doubt_of_timing(heard: Evidence, limits: dict[str, int], before_us: int) -> int:
    if heard.cycle.timing == cycle.UNKNOWN or leaves_out(heard, before_us):
        return reason.TIMING_UNKNOWN
    if heard.cycle.timing == cycle.PART and is_irregular(heard, limits):
        return reason.STARTS_OR_STOPS
    return reason.TOO_FEW_BURSTS if is_doubtful(heard, limits) else 0


def is_plain(heard: Evidence, limits: dict[str, int]) -> bool:
    """Tell whether a train too faint for the held sensor is of this vehicle, and not one beat of a chatter."""
    held = heard.train
    return (
        held.count >= PROOF_BURSTS
        and heard.cycle.timing == cycle.STEADY
        and 4 * held.count >= 3 * heard.cycle.due
        and held.spread_cdb <= SPREAD_MOST_CDB
        and held.rivals <= held.count
        and is_of_system(held.level_cdb, held.frequency_hz, heard.cycle.interval_us, limits)
    )


def _rule_on_silence(
    ruling: Ruling, heard: Evidence, limits: dict[str, int], noise_cdb: int, proofs: int
) -> None:
    held = heard.train
    doubt = _doubt_of_silence(heard, limits, noise_cdb)
    if doubt:
        ruling.set(names.RETRY, doubt, proofs)
    elif not proofs & FRONT_END_LIVE:
        ruling.set(names.RETRY, reason.MICROPHONE_FAULT, proofs)
    elif is_plain(heard, limits) and held.level_cdb > limits["neighbour_cdb"]:
        # Too loud for a neighbour: the sensor itself. Or the microphone's port is clogged, since the last place
        # perhaps: only siblings that are loud enough in this very reading show that it is open.
        if proofs & SIBLING_HEARD:
            ruling.set(names.DEAD, reason.LOW_LEVEL, proofs)
        else:
            ruling.set(names.RETRY, reason.NOTHING_HEARD | reason.LOW_LEVEL, proofs)
    elif proofs & SIBLING_HEARD or is_plain(heard, limits):
        ruling.set(names.DEAD, reason.ONLY_NEIGHBOUR, proofs | SIBLING_HEARD)
    elif proofs & BUMPER_HEARD_BEFORE:
        ruling.set(names.DEAD, reason.NOTHING_HEARD, proofs)
    else:
        ruling.set(names.RETRY, reason.NOTHING_HEARD, proofs)


def _doubt_of_silence(heard: Evidence, limits: dict[str, int], noise_cdb: int) -> int:
    """Return the reason why no train at or above the dead limit is no silence; 0 for none."""
    dead_cdb = limits["dead_cdb"]
    if heard.siblings.level_cdb >= dead_cdb and heard.siblings.count >= PROOF_BURSTS:
        # Too loud for a neighbour: the held sensor, in noise that lets nobody measure it.
        return reason.NOISY
    if heard.loud_cdb >= dead_cdb and heard.loud_us > limits["burst_max_us"]:
        return reason.NOT_A_BURST
    if heard.loud_cdb >= dead_cdb or heard.train.loudest_cdb >= dead_cdb:
        return reason.TOO_FEW_BURSTS
    return reason.NOISY if noise_cdb > dead_cdb - DEAD_OVER_NOISE_CDB else 0


def clearly_passes(heard: Evidence, limits: dict[str, int], before_us: int) -> bool:
    """Tell whether a reading can stop early with PASS.

    Three bursts on time, none missing, no other sound as loud, level and frequency well inside, no ring-down too long
    (another's burst over one of them can cut it short): a sensor that misses a burst, or anything irregular, is never
    passed early. Nor is one that comes so seldom that its siblings must be asked first.
    """
    return (
        stands_out(heard.train, limits)
        and heard.cycle.timing == cycle.STEADY
        and heard.cycle.due == heard.train.count
        and heard.cycle.interval_us <= loop.SLOW_INTERVAL_US
        and not leaves_out(heard, before_us)
        and not faults_of(heard, limits)
    )


def stands_out(held: Train, limits: dict[str, int]) -> bool:
    """Tell whether a train by itself is what `clearly_passes` asks for, whatever the system's cycle is."""
    return (
        held.count >= BURSTS_LEAST
        and held.rivals == 0
        and held.strays == 0
        and held.spread_cdb <= SPREAD_MOST_CDB // 2
        and held.level_cdb >= limits["pass_cdb"] + CLEAR_LEVEL_CDB
        and held.burst_us <= limits["burst_max_us"]
        and abs(held.frequency_hz - limits["centre_hz"]) <= limits["window_hz"] - CLEAR_FREQUENCY_HZ
        and held.ringdown_most_us <= limits["ringdown_max_us"]
    )
