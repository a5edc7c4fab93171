"""From the readings of a bumper to its result. Knows no sounds."""

from curbtick_wire import names
from micropython import const

from curbtick_probe import reason
from curbtick_probe.bumper.verdict import FRONT_END_LIVE

SIBLINGS_LEAST = const(3)


def bumper_result(
    readings: list[dict[str, int] | None], limit_set: dict[str, int]
) -> tuple[int, list[int], list[int]]:
    """Make a bumper's result from its readings.

    readings: reading record values by position, None for one not read; limit_set: for `below_siblings_cdb`.
    Returns (result, verdicts, reasons), the latter two a list with one entry a position.
    """
    verdicts = [names.RETRY if values is None else values["verdict"] for values in readings]
    reasons = [0 if values is None else values["reasons"] for values in readings]
    if all(_hears_none(values) for values in readings):
        return (
            names.BUMPER_NOT_TRANSMITTING,
            [names.RETRY] * len(readings),
            [mask | reason.NOT_TRANSMITTING for mask in reasons],
        )
    _settle_silent(readings, verdicts)
    _compare_siblings(readings, verdicts, reasons, limit_set["below_siblings_cdb"])
    return _result_of(verdicts), verdicts, reasons


def _hears_none(values: dict[str, int] | None) -> bool:
    """Tell whether a position was read and its sensor not heard.

    A neighbour that is heard must itself be heard at its own place: where none is, it was something else.
    """
    if values is None or values["reasons"] & reason.LOW_LEVEL:
        return False
    if values["verdict"] != names.DEAD:
        return _is_silent(values)
    return bool(values["reasons"] & (reason.ONLY_NEIGHBOUR | reason.NOTHING_HEARD))


def _is_silent(values: dict[str, int] | None) -> bool:
    """Tell whether nothing was heard at a place. What was heard too faintly may be a clogged microphone's doing."""
    if values is None or values["verdict"] != names.RETRY:
        return False
    return values["reasons"] & (reason.NOTHING_HEARD | reason.LOW_LEVEL) == reason.NOTHING_HEARD


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
