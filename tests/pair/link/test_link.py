"""The firmware's link in MicroPython and the bench's client, over a pty."""

import hashlib
import os
import time
from pathlib import Path

import pytest
from curbtick.errors import InputError, LinkError
from curbtick.link.client import Client
from curbtick.link.download import Batch
from curbtick.link.replies import decode
from curbtick.link.request import RefusedError
from curbtick_wire import codec, frames, messages, names, records

from tests.pair.link.harness import UNIQUE_ID, Bench

ROUND = {
    "round_id": 3,
    "vehicles": [
        {
            "vehicle": 1,
            "rear_positions": 4,
            "rear_class_khz": 48,
            "front_positions": 0,
            "front_class_khz": 0,
        }
    ],
}


def pulled(client: Client, **options: object) -> list[int]:
    """Pull: the numbers that were committed, in order."""
    seqs: list[int] = []
    client.pull(lambda batch: seqs.extend(decode(raw).seq for raw in batch.raws), **options)  # type: ignore[arg-type]
    return seqs


def test_reading_needs_no_key(bench: Bench) -> None:
    with bench.connect() as client:
        assert client.unique_id == UNIQUE_ID
        assert client.greeting.same_version
        assert client.greeting.same_definition
        assert not client.paired
        assert pulled(client) == list(range(1, 42))
        assert pulled(client) == list(range(1, 42))
        assert client.greet().acknowledged_seq == 0
        kinds = {record.kind for record in client.records()}
        assert kinds >= {records.READING, records.SNIPPET, records.SOUNDS, records.BUMPER, records.EVENT}


def test_a_paired_bench_takes_over_each_record_once(paired: Client, bench: Bench) -> None:
    last = paired.greet().last_seq
    assert pulled(paired) == list(range(1, last + 1))
    assert paired.greet().acknowledged_seq == last
    assert pulled(paired) == [last + 1]
    assert pulled(paired) == []
    after = bench.probe.append(5)
    assert pulled(paired) == list(range(last + 2, after + 1))
    assert [record.seq for record in paired.records(10, 12)] == [10, 11, 12]


@pytest.mark.parametrize("from_seq", [1, 2, 17, 41, 42, 1000])
def test_reading_starts_at_any_record(bench: Bench, from_seq: int) -> None:
    with bench.connect() as client:
        assert [record.seq for record in client.records(from_seq)] == list(range(from_seq, 42))


def test_nothing_is_acknowledged_that_was_not_committed(paired: Client) -> None:
    def full_disk(_batch: Batch) -> None:
        raise OSError("no space left")

    with pytest.raises(OSError):
        paired.pull(full_disk)
    assert paired.greet().acknowledged_seq == 0
    assert pulled(paired) == list(range(1, paired.greeting.last_seq + 1))


def test_a_pull_from_further_on_is_acknowledged_by_the_store_s_digest(paired: Client) -> None:
    raws = {record.seq: record.raw for record in paired.records()}

    def stored(first: int, last: int) -> bytes:
        return hashlib.sha256(b"".join(raws[seq] for seq in range(first, last + 1))).digest()

    last = paired.greet().last_seq
    raws.update({record.seq: record.raw for record in paired.records(1, last)})
    assert pulled(paired, from_seq=30) == list(range(30, last + 1))
    assert paired.greet().acknowledged_seq == 0
    assert pulled(paired, from_seq=30, stored_digest=stored) == list(range(30, last + 1))
    assert paired.greet().acknowledged_seq == last


def test_a_store_that_has_more_than_the_probe_takes_it_over_again(paired: Client) -> None:
    last = paired.greet().last_seq
    seqs = pulled(paired, from_seq=20, stored_digest=lambda _first, _last: bytes(32))
    assert seqs == list(range(20, last + 1)) + list(range(1, last + 1))
    assert paired.greeting.acknowledged_seq == last


def test_a_wrong_digest_and_a_number_not_reached_are_refused(paired: Client) -> None:
    with pytest.raises(RefusedError, match="digest"):
        paired.acknowledge(10, bytes(32))
    with pytest.raises(RefusedError, match="last_seq"):
        paired.acknowledge(1000, bytes(32))
    assert paired.greet().acknowledged_seq == 0


def test_limits_go_over_and_come_back(paired: Client, bench: Bench) -> None:
    limits = {**paired.limits(), "revision": 7}
    assert paired.send_limits(limits) == 7
    assert paired.limits() == limits
    assert paired.send_limits(limits) == 7
    bench.probe.kill()
    bench.probe.start()
    assert paired.greet().limits_revision == 7
    assert paired.send_limits(limits) == 7
    changes = [
        record.values
        for record in paired.records(1, paired.greet().last_seq)
        if record.kind == records.EVENT and names.EVENTS[record.values["event"]] == "limits_changed"
    ]
    assert changes == [{"event": names.EVENTS.index("limits_changed"), "value": 7, "extra": 1}]


def contradictory(limits: dict) -> None:
    limits["classes"][0]["dead_cdb"] = limits["classes"][0]["pass_cdb"] + 1


def doubled(limits: dict) -> None:
    limits["classes"][1] = limits["classes"][0]


@pytest.mark.parametrize(
    ("spoil", "field"),
    [
        (contradictory, "dead_cdb"),
        (doubled, "class_khz"),
        (lambda limits: limits.update(revision=4), "revision"),
        (lambda limits: limits.update(revision=5, noise_max_cdb=-4000), "revision"),
    ],
)
def test_limits_that_make_no_sense_are_refused_and_named(paired: Client, spoil, field: str) -> None:
    in_force = {**paired.limits(), "revision": 5}
    paired.send_limits(in_force)
    limits = {**paired.limits(), "revision": 6}
    spoil(limits)
    with pytest.raises(RefusedError, match=field) as caught:
        paired.send_limits(limits)
    assert caught.value.code == "refused"
    assert paired.limits() == in_force
    assert paired.stats()["requests_refused"] == 1


def test_values_out_of_range_are_named_before_anything_is_sent(paired: Client) -> None:
    with pytest.raises(InputError, match="noise_max_cdb"):
        paired.send_limits({**paired.limits(), "revision": 5, "noise_max_cdb": 100})
    with pytest.raises(InputError, match="vehicle_count"):
        paired.send_round({**ROUND, "vehicles": []})
    assert paired.greet().limits_revision == 1


def test_a_round_goes_over_and_comes_back(paired: Client) -> None:
    assert paired.round() is None
    assert paired.send_round(ROUND) == 3
    assert paired.round() == ROUND
    twice = {**ROUND, "round_id": 4, "vehicles": ROUND["vehicles"] * 2}
    with pytest.raises(RefusedError, match="vehicle: 1 stands twice"):
        paired.send_round(twice)
    assert paired.round() == ROUND


def reply_to(client: Client, kind: int, payload: bytes):
    link = client._link
    request = link.next_id()
    link.send(kind, request, payload)
    frame = link.receive(request, 5.0)
    assert frame is not None
    return frame


def test_stale_replies_are_discarded_and_counted(paired: Client) -> None:
    link = paired._link
    for _ in range(3):
        link.send(messages.TICKS, link.next_id(), b"")
    assert paired.greet().unique_id == UNIQUE_ID
    assert paired.stats()["bench_frames_stale"] >= 3


def test_an_anchor_is_logged_with_its_uncertainty(paired: Client) -> None:
    made = paired.anchor()
    event = list(paired.records(1, paired.greet().last_seq))[-1]
    assert names.EVENTS[event.values["event"]] == "anchored"
    assert event.boot == made.boot
    expected_ms = made.host_ms + event.ticks_ms - made.ticks_ms
    assert abs(event.values["value"] * 1000 - expected_ms) <= event.values["extra"]
    assert made.uncertainty_ms <= event.values["extra"] <= made.uncertainty_ms + 500
    assert abs(made.host_ms - time.time() * 1000) < 10_000


def test_an_anchor_of_another_start_is_refused(paired: Client) -> None:
    values = {"boot": 9, "ticks_ms": 0, "host_time_s": 1, "host_time_ms": 0, "uncertainty_ms": 0}
    with pytest.raises(RefusedError, match="ticks_ms"):
        paired._signed(messages.ANCHOR, values)


def test_a_self_test_is_asked_for_with_a_key_only(paired: Client, bench: Bench) -> None:
    assert bench.probe.tell("wants_self_test") == "False"
    paired.self_test()
    assert bench.probe.tell("wants_self_test") == "True"


def test_noise_on_the_wire_costs_at_most_a_retry(bench: Bench) -> None:
    os.write(bench.pty.slave, b"AT+CGMI\r" + b"\x01" * 2000 + b"ATE1 E0\r")
    with bench.connect() as client:
        os.write(bench.pty.slave, b"AT\r")
        assert pulled(client) == list(range(1, 42))
        stats = client.stats()
    assert stats["frames_too_long"] == 1
    assert stats["faults"] == 0


def test_text_from_the_probe_s_side_is_shrugged_off(bench: Bench) -> None:
    os.write(bench.pty.master, b"Traceback (most recent call last):\r\n>>> ")
    with bench.connect() as client:
        os.write(bench.pty.master, b"MemoryError\r\n")
        assert pulled(client) == list(range(1, 42))


def test_a_probe_switched_off_and_on_goes_on_where_it_stopped(bench: Bench) -> None:
    with bench.connect() as client:
        client.pair("bench")
        taken = pulled(client)
        last = bench.probe.append(8)
        bench.probe.kill()
        bench.probe.start()
        assert pulled(client) == list(range(taken[-1] + 1, last + 2))
        assert client.greeting.boot == 2


def test_unknown_requests_are_answered_and_counted(bench: Bench) -> None:
    with bench.connect() as client:
        frame = reply_to(client, 99, b"")
        values, words = messages.unpack(messages.ERROR | messages.REPLY, frame.payload)
        assert (values["request_kind"], messages.ERRORS[values["code"]]) == (99, "unknown_request")
        assert words
        assert client.stats()["requests_unknown"] == 1


def test_an_echo_of_the_probe_s_own_reply_is_not_answered(bench: Bench) -> None:
    with bench.connect() as client:
        client._link.send(messages.TICKS | messages.REPLY, 5, b"")
        assert client._link.receive(5, 0.2) is None
        assert client.stats()["requests_unknown"] == 1


def test_a_later_probe_s_records_come_raw_and_its_limits_are_left_alone(tmp_path: Path) -> None:
    bench = Bench(tmp_path, "later")
    try:
        seq = int(bench.probe.tell("later"))
        with bench.connect() as client:
            assert not client.greeting.same_version
            found = list(client.records())
            assert [record.known for record in found] == [True, False]
            assert found[-1].seq == seq
            assert found[-1].values == {}
            assert codec.check_record(found[-1].raw)["kind"] == 99
            for deed in (client.limits, client.round, client.anchor, lambda: client.send_round(ROUND)):
                with pytest.raises(LinkError, match="version") as caught:
                    deed()
                assert "can still be pulled" in caught.value.data
    finally:
        bench.close()


def test_a_probe_unplugged_in_the_middle(bench: Bench) -> None:
    with bench.connect() as client:
        bench.probe.kill()
        with pytest.raises(LinkError) as caught:
            list(client.records())
        assert "it goes on where it stopped" in caught.value.next_step
        bench.probe.start()


@pytest.mark.parametrize("size", [63, 64, 65, 127, 128, 129, 507, 512])
def test_payloads_around_the_sizes_of_packets_arrive(bench: Bench, size: int) -> None:
    with bench.connect() as client:
        before = client.stats()["frames_good"]
        frame = reply_to(client, messages.TICKS, b"\1" * size)
        assert frame.kind == messages.TICKS | messages.REPLY
        assert client.stats()["frames_good"] >= before + 2
        assert len(frames.encode(messages.TICKS, 1, b"\1" * size)) > size
