"""The codec: round trips over every table, ranges held, damage refused."""

import pytest
from curbtick_wire import classes, codec, names, records, settings
from curbtick_wire.errors import WireError
from hypothesis import given
from hypothesis import strategies as st

HEADER = {"seq": 7, "boot": 2, "ticks_ms": 99}
KINDS = pytest.mark.parametrize("kind", [entry[0] for entry in records.KINDS])


def value_of(field, place):
    """A field's lowest (0), highest (1) or middle (2) value."""
    _name, form, lowest, highest = field
    value = (lowest, highest, (lowest + highest) // 2)[place]
    return (value,) * int(form[:-1]) if len(form) > 1 else value


def values_of(fields, place):
    return {field[0]: value_of(field, place) for field in fields}


def drawn(fields):
    """Hypothesis: any values a table allows."""

    def one(field):
        numbers = st.integers(field[2], field[3])
        return st.tuples(*[numbers] * int(field[1][:-1])) if len(field[1]) > 1 else numbers

    return st.fixed_dictionaries({field[0]: one(field) for field in fields})


def record(kind, place=0, tail=b""):
    return codec.encode_record(kind, HEADER, values_of(codec.kind_entry(kind)[2], place), tail)


@KINDS
@pytest.mark.parametrize("place", [0, 1, 2])
def test_records_come_back(kind, place):
    fields = codec.kind_entry(kind)[2]
    values = values_of(fields, place)
    tail = bytes(9 * values["count"]) if kind == records.SOUNDS else b""
    found = codec.decode_record(codec.encode_record(kind, HEADER, values, tail))
    assert found == {
        **HEADER,
        "kind": kind,
        "layout": records.LAYOUT,
        "known": True,
        "values": values,
        "tail": tail,
    }


@given(st.data())
def test_any_allowed_reading_comes_back(data):
    values = data.draw(drawn(codec.kind_entry(records.READING)[2]))
    header = data.draw(drawn([field for field in records.HEADER if field[0] in HEADER]))
    found = codec.decode_record(codec.encode_record(records.READING, header, values))
    assert found["values"] == values
    assert {name: found[name] for name in header} == header


@KINDS
def test_every_value_outside_its_range_is_refused_by_name(kind):
    fields = codec.kind_entry(kind)[2]
    for field in fields:
        for wrong in (field[2] - 1, field[3] + 1, 1.5, "1", None):
            bad = (wrong,) * int(field[1][:-1]) if len(field[1]) > 1 else wrong
            with pytest.raises(WireError) as caught:
                codec.encode_record(kind, HEADER, {**values_of(fields, 0), field[0]: bad})
            assert caught.value.field == field[0]


def test_missing_and_unknown_fields_are_refused_by_name():
    values = values_of(codec.kind_entry(records.EVENT)[2], 0)
    with pytest.raises(WireError) as caught:
        codec.encode_record(records.EVENT, HEADER, {"event": 1, "value": 1})
    assert caught.value.field == "extra"
    with pytest.raises(WireError) as caught:
        codec.encode_record(records.EVENT, HEADER, {**values, "colour": 1})
    assert caught.value.field == "colour"


def test_repeated_fields_want_their_count():
    with pytest.raises(WireError):
        codec.pack((("six", "6B", 0, 9),), {"six": (1, 2, 3)})
    with pytest.raises(WireError):
        codec.pack((("six", "6B", 0, 9),), {"six": 4})


def test_byte_fields_want_their_size():
    field = (("digest", "32s", 0, 0),)
    assert codec.unpack(field, codec.pack(field, {"digest": b"d" * 32}))[0] == {"digest": b"d" * 32}
    for wrong in (b"d" * 31, b"d" * 33, "d" * 32, 7):
        with pytest.raises(WireError):
            codec.pack(field, {"digest": wrong})


@KINDS
def test_every_flipped_bit_of_a_record_is_noticed(kind):
    raw = record(kind)
    for place in range(8 * len(raw)):
        damaged = bytearray(raw)
        damaged[place // 8] ^= 1 << place % 8
        with pytest.raises(WireError):
            codec.decode_record(bytes(damaged))


@KINDS
def test_every_cut_of_a_record_is_noticed(kind):
    raw = record(kind)
    for size in range(len(raw)):
        with pytest.raises(WireError):
            codec.decode_record(raw[:size])
    with pytest.raises(WireError):
        codec.decode_record(raw + b"\0")


def resealed(raw, **changes):
    """A record with header fields changed and its size and CRC made right again."""
    header = {**codec.record_header(raw), **changes}
    body = codec.pack(records.HEADER, header) + raw[codec.size_of(records.HEADER) : -4]
    return body + codec.crc32(body).to_bytes(4, "little")


@pytest.mark.parametrize("change", [{"kind": 200}, {"layout": 2}])
def test_a_kind_or_layout_of_another_version_is_kept_raw(change):
    raw = resealed(record(records.EVENT), **change)
    found = codec.decode_record(raw)
    assert not found["known"]
    assert found["values"] == {}
    assert found["tail"] == raw[codec.size_of(records.HEADER) : -4]
    assert found["seq"] == HEADER["seq"]


def test_tails_only_where_the_kind_has_one():
    with pytest.raises(WireError):
        record(records.EVENT, tail=b"x")
    with pytest.raises(WireError):
        codec.decode_record(record(records.SOUNDS, place=0, tail=bytes(9)))


def test_records_keep_to_their_sizes():
    sizes = {entry[1]: len(record(entry[0])) for entry in records.KINDS}
    assert all(size <= records.RECORD_MAX for size in sizes.values())
    snippet = values_of(codec.kind_entry(records.SNIPPET)[2], 0)
    room = records.SNIPPET_MAX - sizes["snippet"]
    assert len(codec.encode_record(records.SNIPPET, HEADER, snippet, bytes(room))) == records.SNIPPET_MAX
    with pytest.raises(WireError):
        codec.encode_record(records.SNIPPET, HEADER, snippet, bytes(room + 1))
    assert sizes["snippet"] + 512 + 200 <= records.SNIPPET_MAX


def test_a_full_sounds_record_fits():
    rows = [values_of(records.SOUND, place % 3) for place in range(80)]
    tail = codec.pack_list(records.SOUND, rows)
    values = {"reading_seq": 1, "first": 0, "count": 80}
    found = codec.decode_record(codec.encode_record(records.SOUNDS, HEADER, values, tail))
    assert codec.unpack_list(records.SOUND, found["tail"], 80)[0] == rows


def test_factory_limits_come_back_and_fit_a_message():
    limits = codec.factory_limits()
    assert limits["revision"] == settings.FACTORY_REVISION
    assert [one["class_khz"] for one in limits["classes"]] == list(classes.CLASSES_KHZ)
    assert codec.unpack_limits(codec.pack_limits(limits)) == limits


def largest_round():
    vehicle = values_of(settings.ROUND_VEHICLE, 1)
    return {"round_id": 4294967295, "vehicles": [vehicle] * 60}


def test_the_largest_sets_fit_a_message():
    limits = codec.factory_limits()
    limits["classes"] = (limits["classes"] * settings.CLASSES_MAX)[: settings.CLASSES_MAX]
    assert len(codec.pack_limits(limits)) <= 475
    assert codec.unpack_limits(codec.pack_limits(limits)) == limits
    assert len(codec.pack_round(largest_round())) <= 475
    assert codec.unpack_round(codec.pack_round(largest_round())) == largest_round()


@pytest.mark.parametrize("change", [{"vehicles": []}, {"round_id": 0}])
def test_rounds_out_of_range_are_refused(change):
    with pytest.raises(WireError):
        codec.pack_round({**largest_round(), **change})


def test_sets_of_the_wrong_length_are_refused():
    data = codec.pack_limits(codec.factory_limits())
    for wrong in (data[:-1], data + b"\0", b""):
        with pytest.raises(WireError):
            codec.unpack_limits(wrong)


def test_words_and_masks():
    mask = names.mask_of(names.REASONS, ["noisy", "low_level"])
    assert names.words_of(names.REASONS, mask) == ["low_level", "noisy"]
    with pytest.raises(ValueError):
        names.mask_of(names.REASONS, ["purple"])
