"""The record table: what a log record of each kind carries, field by field.

A field is (name, format, lowest, highest). Formats are `struct` letters, little-endian; a digit before the
letter repeats the field as a tuple of that many values. The unit is the end of the name: `_cdb` hundredths of
a dB (of full scale, unless the name says relative), `_hz`, `_us`, `_ms`, `_mv`, `_khz`, `_ddeg` tenths of a degree
Celsius, `_permille`. What each field means stands in texts.py, which a probe does not carry.

A record in the log and on the wire: HEADER fields, the kind's fields, the kind's tail if it has one, CRC-32
(little-endian) over all before it.
"""

from curbtick_wire._typing import Fields, Kind
from curbtick_wire.sampling import HIGHEST_CODE, RATE_HZ

# No sample shows a higher frequency.
HIGHEST_HZ = RATE_HZ // 2

# Stands for "not measured" in a signed and in an unsigned field.
NONE_I16 = -32768
NONE_I32 = -2147483648
NONE_U32 = 4294967295

# After a start a probe goes on with readings among so many of its newest records; no later boot names older ones.
RESUME_RECORDS = 60

RECORD_MAX = 128
SNIPPET_MAX = 800
# What a crash record says of the place, so that the record keeps to RECORD_MAX.
CRASH_WORDS_MAX = 96

# The layout number every kind carries. A later field list of a kind gets the next number.
LAYOUT = 1

HEADER: Fields = (
    ("kind", "B", 1, 255),
    ("layout", "B", 1, 255),
    ("size", "H", 20, SNIPPET_MAX),
    ("seq", "I", 1, NONE_U32 - 1),
    ("boot", "I", 1, NONE_U32),
    ("ticks_ms", "I", 0, NONE_U32),
)

READING, SNIPPET, SOUNDS, BUMPER, SEAL, HISS, SELF_TEST, EVENT, CRASH = range(1, 10)

# Number, name, fields, and what the tail is (None where there is none) of each kind.
KINDS: tuple[Kind, ...] = (
    (
        READING,
        "reading",
        (
            ("round_id", "I", 0, NONE_U32),
            ("vehicle", "B", 0, 99),
            ("bumper", "B", 0, 1),
            ("position", "B", 0, 6),
            ("positions", "B", 0, 6),
            ("class_khz", "B", 0, 80),
            ("verdict", "B", 0, 3),
            ("reasons", "I", 0, NONE_U32),
            ("proofs", "B", 0, 15),
            ("input", "B", 0, 2),
            ("level_cdb", "h", NONE_I16, 600),
            ("frequency_hz", "I", 0, HIGHEST_HZ),
            ("sweep_hz", "i", NONE_I32, 100000),
            ("interval_us", "I", 0, 4000000),
            ("burst_us", "H", 0, 65535),
            ("ringdown_us", "H", 0, 65535),
            ("noise_cdb", "h", NONE_I16, 600),
            ("high_floor_cdb", "h", NONE_I16, 600),
            ("single_cdb", "h", NONE_I16, 20000),
            ("train_cdb", "h", NONE_I16, 20000),
            ("burst_count", "B", 0, 255),
            ("due_count", "B", 0, 255),
            ("sound_count", "H", 0, 65535),
            ("listened_ms", "H", 0, 65535),
            ("time_to_verdict_ms", "H", 0, 65535),
            ("limits_revision", "I", 0, NONE_U32),
            ("supersedes_seq", "I", 0, NONE_U32),
            ("battery_mv", "H", 0, 65535),
            ("temperature_ddeg", "h", NONE_I16, 1250),
            ("blocks_lost", "B", 0, 255),
            ("collections", "B", 0, 255),
            ("calibration_revision", "H", 0, 65535),
        ),
        None,
    ),
    (
        SNIPPET,
        "snippet",
        (
            ("reading_seq", "I", 1, NONE_U32),
            ("rate_hz", "I", 1, 1000000),
            ("start_us", "I", 0, 4000000),
            ("shift", "B", 0, 8),
            ("sample_count", "H", 0, 512),
            ("envelope_step_us", "H", 0, 65535),
            ("envelope_count", "B", 0, 200),
        ),
        "bytes",
    ),
    (
        SOUNDS,
        "sounds",
        (
            ("reading_seq", "I", 1, NONE_U32),
            ("first", "H", 0, 65535),
            ("count", "B", 0, 80),
        ),
        "sounds",
    ),
    (
        BUMPER,
        "bumper",
        (
            ("round_id", "I", 0, NONE_U32),
            ("vehicle", "B", 0, 99),
            ("bumper", "B", 0, 1),
            ("positions", "B", 1, 6),
            ("class_khz", "B", 0, 80),
            ("result", "B", 0, 3),
            ("limits_revision", "I", 0, NONE_U32),
            ("verdicts", "6B", 0, 3),
            ("reasons", "6I", 0, NONE_U32),
            ("reading_seqs", "6I", 0, NONE_U32),
        ),
        None,
    ),
    (
        SEAL,
        "seal",
        (
            ("round_id", "I", 0, NONE_U32),
            ("vehicle", "B", 0, 99),
            ("section", "B", 0, 99),
            ("verdict", "B", 0, 2),
            ("reasons", "I", 0, NONE_U32),
            ("tone_hz", "I", 0, HIGHEST_HZ),
            ("measured_hz", "I", 0, HIGHEST_HZ),
            ("reference_cdb", "h", NONE_I16, 6000),
            ("reference_after_cdb", "h", NONE_I16, 6000),
            ("level_cdb", "h", NONE_I16, 6000),
            ("noise_cdb", "h", NONE_I16, 6000),
            ("snr_cdb", "h", NONE_I16, 20000),
            ("below_reference_cdb", "h", NONE_I16, 20000),
            ("listened_ms", "I", 0, NONE_U32),
            ("limits_revision", "I", 0, NONE_U32),
            ("battery_mv", "H", 0, 65535),
            ("blocks_lost", "B", 0, 255),
            ("collections", "B", 0, 255),
            ("calibration_revision", "H", 0, 65535),
        ),
        None,
    ),
    (
        HISS,
        "hiss",
        (
            ("round_id", "I", 0, NONE_U32),
            ("vehicle", "B", 0, 99),
            ("section", "B", 0, 99),
            ("verdict", "B", 0, 3),
            ("reasons", "I", 0, NONE_U32),
            ("band_low_hz", "I", 0, HIGHEST_HZ),
            ("band_high_hz", "I", 0, HIGHEST_HZ),
            ("background_cdb", "h", NONE_I16, 600),
            ("level_cdb", "h", NONE_I16, 600),
            ("above_background_cdb", "h", NONE_I16, 20000),
            ("tone_hz", "I", 0, HIGHEST_HZ),
            ("tone_cdb", "h", NONE_I16, 600),
            ("listened_ms", "I", 0, NONE_U32),
            ("limits_revision", "I", 0, NONE_U32),
            ("battery_mv", "H", 0, 65535),
            ("blocks_lost", "B", 0, 255),
            ("collections", "B", 0, 255),
            ("calibration_revision", "H", 0, 65535),
        ),
        None,
    ),
    (
        SELF_TEST,
        "self_test",
        (
            ("failed", "I", 0, NONE_U32),
            ("bias_code", "H", 0, HIGHEST_CODE),
            ("low_floor_cdb", "h", NONE_I16, 600),
            ("high_floor_cdb", "h", NONE_I16, 600),
            ("rate_permille", "H", 0, 65535),
            ("beep_cdb", "h", NONE_I16, 600),
            ("battery_mv", "H", 0, 65535),
            ("temperature_ddeg", "h", NONE_I16, 1250),
        ),
        None,
    ),
    (
        EVENT,
        "event",
        (
            ("event", "B", 0, 255),
            ("value", "I", 0, NONE_U32),
            ("extra", "I", 0, NONE_U32),
        ),
        None,
    ),
    (
        CRASH,
        "crash",
        (
            ("crash_boot", "I", 0, NONE_U32),
            ("crash_ticks_ms", "I", 0, NONE_U32),
            ("cause", "B", 0, 255),
        ),
        "words",
    ),
)

# One entry of a sounds record's tail. Times count from the reading's first sample.
SOUND = (
    ("time_50us", "H", 0, 65535),
    ("level_cdb", "h", NONE_I16, 600),
    ("frequency_2hz", "H", 0, HIGHEST_HZ // 2),
    ("length_10us", "H", 0, 65535),
    ("kind", "B", 0, 3),
)
