"""Send a round or a limit set to a probe that is plugged in, and note in the history what the probe has."""

from typing import Any

from curbtick_wire import codec

from curbtick.dates import now_ms
from curbtick.errors import LinkError
from curbtick.exchange.pull import starting_seq
from curbtick.fleet import rounds
from curbtick.fleet.rounds import Round
from curbtick.limits.sets import LimitSet
from curbtick.link.client import Client
from curbtick.link.request import RefusedError
from curbtick.store.history import Store, ensure_probe


def send_round(store: Store, probe: Client, round_: Round) -> Round:
    """Note that the probe gets a round, and send it. Returns the round as sent. Raises LinkError, StoreError.

    The round gets a new number if the probe has another bench's round of the same number. The note comes first,
    because readings of a round without a note find no vehicle. If the probe refuses the round, the note is taken
    back: otherwise another bench's round of that number would be taken for this one.
    """
    starting_seq(store, probe)  # Refuses a log that is not the one that the history has.
    greeting = probe.greet()
    if not probe.may_change:
        probe.send_round(_as_sent(round_))
        return round_
    is_held = greeting.round_id == round_.number and probe.round() == _as_sent(round_)
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        if rounds.is_anothers(connection, key, round_.number, greeting.round_id):
            round_, is_held = rounds.renumbered(connection, round_, greeting.round_id, now_ms()), False
        # A round that the probe has from here already changes nothing there, so the first note goes on.
        if not is_held:
            rounds.note_sent(connection, key, "round", round_.number, now_ms(), greeting.last_seq)
        broken_off = _broken_off(probe, round_)
    if broken_off is not None:
        raise broken_off
    return round_


def _broken_off(probe: Client, round_: Round) -> BaseException | None:
    """Send a round; returns what broke it off when the probe may have it all the same, so that the note stands.

    Raises RefusedError, and whatever else says that nothing was sent.
    """
    try:
        probe.send_round(_as_sent(round_))
    except RefusedError:
        raise
    except (LinkError, KeyboardInterrupt) as error:
        return error
    return None


def _as_sent(round_: Round) -> dict[str, Any]:
    return codec.unpack_round(rounds.payload(round_))


def send_limits(store: Store, probe: Client, limit_set: LimitSet) -> None:
    """Send a limit set and note that the probe took it. Raises LinkError, StoreError."""
    probe.send_limits(limit_set)
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        rounds.note_sent(connection, key, "limits", limit_set["revision"], now_ms())
