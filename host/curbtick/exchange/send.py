"""Send a round or a limit set to a probe that is plugged in, and note in the history what the probe has."""

from typing import Any

from curbtick_wire import codec

from curbtick.dates import now_ms
from curbtick.errors import LinkError
from curbtick.fleet import rounds
from curbtick.fleet.rounds import Round
from curbtick.limits.sets import LimitSet
from curbtick.link.client import Client
from curbtick.link.request import RefusedError
from curbtick.store.history import Store


def send_round(store: Store, probe: Client, round_: Round) -> None:
    """Send a round, and note that the probe has it. Raises LinkError, StoreError.

    The round's number means it wherever it is read, so the note only says who got it; it stands as well where the
    sending was broken off, for then the probe may have the round all the same.
    """
    broken_off = _broken_off(probe, round_)
    if broken_off is None and not probe.may_change:
        return
    with store.write() as connection:
        rounds.note_sent(connection, probe.unique_id, round_.number, now_ms(), probe.greeting.log_id)
    if broken_off is not None:
        raise broken_off


def _broken_off(probe: Client, round_: Round) -> BaseException | None:
    """Send a round; returns what broke it off where the probe may have it all the same.

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
        rounds.note_limits(
            connection, probe.unique_id, limit_set["revision"], now_ms(), probe.greeting.log_id
        )
