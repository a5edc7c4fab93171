"""The specification says what the tables say, and says something about everything in them."""

import json
import subprocess

import pytest
from curbtick_wire import messages, names, records, settings, texts

from tests.bench._common import micropython_command, micropython_environment
from tests.vectors import make_spec as spec

TABLES = [
    ("header", records.HEADER),
    ("sound", records.SOUND),
    ("limit_set", settings.LIMIT_SET),
    ("limit_class", settings.LIMIT_CLASS),
    ("round", settings.ROUND),
    ("round_vehicle", settings.ROUND_VEHICLE),
    ("calibration", settings.CALIBRATION),
    ("calibration_gain", settings.CALIBRATION_GAIN),
    ("signature", messages.SIGNATURE),
    ("key_row", messages.KEY_ROW),
    *[(entry[1], entry[2]) for entry in records.KINDS + messages.REQUESTS + messages.REPLIES],
]


def test_specification_is_up_to_date():
    text = spec.PATH.read_text(encoding="utf-8")
    assert spec.updated(text) == text, "run `python -m tests.vectors.make_spec`"
    assert spec.updated(text.replace("| 0 |", "| 9 |")) == text


@pytest.mark.parametrize(("table", "fields"), TABLES, ids=[name for name, _ in TABLES])
def test_every_field_is_described(table, fields):
    assert all(spec.meaning(table, field[0]) for field in fields)


def test_no_word_describes_nothing():
    used = {field[0] for _, fields in TABLES for field in fields}
    assert set(texts.FIELDS) == used - {"kind"} | {"kind"}
    assert {(table, field[0]) for table, fields in TABLES for field in fields} >= set(texts.FIELDS_OF)
    assert set(texts.RECORDS) == {entry[1] for entry in records.KINDS}
    assert set(texts.MESSAGES) == {entry[1] for entry in messages.REQUESTS + messages.REPLIES}
    assert set(texts.ERRORS) == set(messages.ERRORS)
    assert set(texts.EVENTS) == set(names.EVENTS)
    assert set(texts.REASONS) == set(names.REASONS)
    assert set(texts.CRASHES) == set(names.CRASHES)


def test_numbers_stand_once():
    for table in (messages.REQUESTS + messages.REPLIES, records.KINDS):
        numbers = [entry[0] for entry in table]
        assert len(set(numbers)) == len(numbers)
    assert all(0 < entry[0] < messages.REPLY for entry in messages.REQUESTS)


def test_both_ends_derive_the_same_definition():
    script = "import sys\nfrom curbtick_wire import messages\nsys.stdout.write(messages.definition().hex())"
    command = [*micropython_command(), "-c", script]
    done = subprocess.run(
        command, env=micropython_environment(), capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout == messages.definition().hex(), done.stderr


def _differ(make, given, others):
    """Whether each other value, in its place, changes what is made."""
    made = make(*given)
    changed = [[*given[:place], other, *given[place + 1 :]] for place, other in enumerate(others)]
    return all(make(*arguments) != made for arguments in changed)


def test_signatures_are_bound_to_probe_greeting_kind_key_and_counter():
    given = [b"12345678", b"n" * 16, 17, b"body", 3, 9]
    assert _differ(messages.signed_text, given, [b"12345679", b"m" * 16, 18, b"bodz", 4, 10])


def test_proofs_are_bound_to_probe_greeting_log_range_counter_and_records():
    given = [b"12345678", b"n" * 16, 5, 1, 9, 3, b"d" * 32]
    assert _differ(messages.proof_text, given, [b"12345679", b"m" * 16, 6, 2, 8, 4, b"e" * 32])


def test_no_tag_of_one_use_is_good_for_the_other():
    assert len(messages.REQUEST_LABEL) == len(messages.RECORDS_LABEL)
    assert messages.REQUEST_LABEL != messages.RECORDS_LABEL


def test_later_fields_of_a_message_are_left_alone():
    payload = messages.pack(messages.TICKS | messages.REPLY, {"boot": 3, "ticks_ms": 7})
    assert messages.unpack(messages.TICKS | messages.REPLY, payload + b"later")[0] == {
        "boot": 3,
        "ticks_ms": 7,
    }


def test_text_fields():
    assert messages.text_field("bench", 8) == b"bench\0\0\0"
    assert messages.field_text(b"be\xffch\0\0") == "be?ch"
    assert len(messages.text_field("\u00e9" * 20, 16)) == 16


@pytest.mark.parametrize("table", json.loads(json.dumps([name for name, _ in TABLES])))
def test_units_end_names_of_measured_fields(table):
    """A field that is neither a count, an id, a word nor bytes ends with its unit."""
    plain = {
        "kind",
        "layout",
        "size",
        "seq",
        "boot",
        "vehicle",
        "bumper",
        "position",
        "positions",
        "verdict",
        "reasons",
        "proofs",
        "input",
        "shift",
        "first",
        "count",
        "result",
        "verdicts",
        "section",
        "failed",
        "event",
        "value",
        "extra",
        "revision",
        "definition",
        "from_byte",
        "chunk",
        "wanted",
        "digest",
        "secret",
        "name",
        "unique_id",
        "bench_nonce",
        "probe_nonce",
        "firmware",
        "capabilities",
        "pairing",
        "faults",
        "index",
        "chunks",
        "ended",
        "code",
        "counter",
        "tag",
        "request_kind",
        "bias_code",
        "limits_revision",
        "calibration_revision",
        "crash_boot",
        "cause",
        "blocks_lost",
        "collections",
    }
    units = (
        "_cdb",
        "_blocks",
        "_hz",
        "_us",
        "_ms",
        "_s",
        "_mv",
        "_khz",
        "_ddeg",
        "_permille",
        "_bytes",
        "_50us",
        "_10us",
        "_2hz",
    )
    counts = ("_count", "_seq", "_seqs", "_id", "_positions", "_version")
    for field in dict(TABLES)[table]:
        name = field[0]
        counted = name.startswith(("frames_", "requests_", "records_"))
        assert name in plain or counted or name.endswith(units + counts), name
