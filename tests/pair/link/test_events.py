"""What happens to a probe over the link stands in its log, each once: the events, with who did it."""

import time

import pytest
from curbtick.link.client import Client
from curbtick.link.request import RefusedError
from curbtick_wire import names, records

from tests.pair.link.harness import Bench
from tests.pair.link.test_link import ROUND


def events(client: Client) -> list[tuple[str, int, int]]:
    """(word, value, extra) of every event, in order."""
    found = [
        record.values for record in client.records(1, client.greet().last_seq) if record.kind == records.EVENT
    ]
    return [(names.EVENTS[values["event"]], values["value"], values["extra"]) for values in found]


def test_every_change_over_the_link_is_recorded_once_with_its_bench(bench: Bench) -> None:
    with bench.connect() as client:
        client.pair("first bench")
        limits = {**client.limits(), "revision": 7}
        for _ in range(2):
            client.send_limits(limits)
            client.send_round(ROUND)
        made = client.anchor()
        client.pair("second bench")
        client.revoke(1)
        last = client.greet().last_seq
        client.pull(lambda batch: None)
        found = events(client)
    anchored = found.pop(4)
    assert found == [
        ("start", 0, 0),
        ("paired", 1, 0),
        ("limits_changed", 7, 1),
        ("round_received", 3, 1),
        ("paired", 2, 0),
        ("key_revoked", 1, 2),
        ("acknowledged", last, 2),
    ]
    assert anchored[0] == "anchored"
    assert abs(anchored[1] - time.time()) < 60
    assert anchored[2] == made.uncertainty_ms + 500


def test_acknowledging_only_the_record_of_the_last_acknowledgement_comes_to_an_end(paired: Client) -> None:
    for expected in (1, 1, 1, 1):
        paired.pull(lambda batch: None)
        assert [word for word, _value, _extra in events(paired)].count("acknowledged") == expected
    assert paired.greet().acknowledged_seq == paired.greeting.last_seq


def test_a_refused_acknowledgement_is_not_recorded(paired: Client) -> None:
    last = paired.greet().last_seq
    with pytest.raises(RefusedError, match="digest"):
        paired.acknowledge(last, bytes(32))
    assert paired.greet().last_seq == last
