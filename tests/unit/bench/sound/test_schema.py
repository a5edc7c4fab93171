"""The JSON form of a reading follows the schema it documents."""

import jsonschema
import pytest
from curbtick.sound import schema
from curbtick_wire import names, records
from hypothesis import given
from hypothesis import strategies as st

SILENT = {
    "verdict": names.RETRY,
    "reasons": names.mask_of(names.REASONS, ["nothing_heard"]),
    "class_khz": 0,
    "level_cdb": records.NONE_I16,
    "frequency_hz": 0,
    "sweep_hz": records.NONE_I32,
    "interval_us": 0,
    "burst_us": 0,
    "ringdown_us": 0,
    "noise_cdb": -6012,
    "burst_count": 0,
    "time_to_verdict_ms": 1400,
}
HEALTHY = {
    "verdict": names.PASS,
    "reasons": 0,
    "class_khz": 48,
    "level_cdb": -812,
    "frequency_hz": 48120,
    "sweep_hz": 0,
    "interval_us": 200100,
    "burst_us": 640,
    "ringdown_us": 910,
    "noise_cdb": -6012,
    "burst_count": 5,
    "time_to_verdict_ms": 900,
}
READING_FIELDS = next(fields for kind, _, fields, _ in records.KINDS if kind == records.READING)


def test_a_healthy_reading_converts_every_unit() -> None:
    sound = {
        "time_50us": 41,
        "level_cdb": -812,
        "frequency_2hz": 24060,
        "length_10us": 64,
        "kind": names.HELD,
    }
    made = schema.reading_object(HEALTHY, [sound])
    assert made["level_db"] == -8.12
    assert made["interval_ms"] == 200.1
    assert made["burst_ms"] == 0.64
    assert made["sweep_hz"] == 0
    assert made["bursts"] == [
        {"time_ms": 2.05, "level_db": -8.12, "frequency_hz": 48120, "length_ms": 0.64, "kind": "held"}
    ]


def test_what_was_not_measured_is_null() -> None:
    made = schema.reading_object(SILENT)
    unmeasured = (
        "class_khz",
        "level_db",
        "frequency_hz",
        "sweep_hz",
        "interval_ms",
        "burst_ms",
        "ringdown_ms",
    )
    assert [made[name] for name in unmeasured] == [None] * len(unmeasured)
    assert made["reasons"] == ["nothing_heard"]


def test_sounds_parts_join_in_order_and_drop_a_partial_entry() -> None:
    entries = [(n, -4000 + n, 20000, 50, names.OTHER) for n in range(4)]
    packed = [schema.SOUND_STRUCT.pack(*entry) for entry in entries]
    parts = [({"first": 2}, packed[2] + packed[3] + b"\x01"), ({"first": 0}, packed[0] + packed[1])]
    assert [sound["time_50us"] for sound in schema.sounds_of_parts(parts)] == [0, 1, 2, 3]


def test_a_misspelt_kind_is_refused_by_the_schema() -> None:
    made = schema.reading_object(HEALTHY)
    made["bursts"] = [
        {"time_ms": 1, "level_db": None, "frequency_hz": None, "length_ms": None, "kind": "mine"}
    ]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(made, schema.READING_SCHEMA)


@given(
    st.fixed_dictionaries({name: st.integers(low, high) for name, _, low, high in READING_FIELDS}),
    st.lists(
        st.fixed_dictionaries({name: st.integers(low, high) for name, _, low, high in records.SOUND}),
        max_size=4,
    ),
)
def test_any_record_in_range_gives_an_object_the_schema_accepts(values, sounds) -> None:  # type: ignore[no-untyped-def]
    values["class_khz"] = values["class_khz"] if values["class_khz"] >= 30 else 0
    jsonschema.validate(schema.reading_object(values, sounds), schema.READING_SCHEMA)
