"""What the log keeps of a reading's sound: the strongest burst's samples, the envelope, the list of sounds."""

import struct

from curbtick_wire import names, records, sampling
from curbtick_wire._typing import Ints, Values
from micropython import const

from curbtick_probe.bumper.measure import CREST_TO_DBFS_CDB
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.dsp.burst import pack
from curbtick_probe.dsp.level import cdb

SOUNDS_MOST = const(80)
ENVELOPE_MOST = const(150)

# An envelope's byte is half a dB below full scale; the highest one stands for nothing above the noise.
_STEP_CDB = const(50)
_SILENCE = const(255)

# Units of a sound's time, frequency and length in its record (records.SOUND), and the highest frequency there.
_TIME_UNIT_US = const(50)
_FREQUENCY_UNIT_HZ = const(2)
_LENGTH_UNIT_US = const(10)
_FREQUENCY_MOST = sampling.RATE_HZ // 2 // _FREQUENCY_UNIT_HZ
_WORD_MOST = const(65535)
_LEVEL_MOST_CDB = const(600)
_SOUND_FORMAT = "<HhHHB"


def wave_bytes(wave: Ints) -> tuple[int, bytes]:
    """Pack samples to a byte each, as (code - 2048) >> shift offset by 128; return (shift, bytes).

    wave: codes 0..4095. shift: 0..4, the least that fits the largest swing.
    """
    packed = bytearray(len(wave))
    shift = pack.pack(wave, packed, len(wave))
    return shift, bytes(packed)


def envelope_bytes(crests: Ints, blocks: int) -> tuple[int, bytes]:
    """Pack the blocks' loudest excess to half dB below full scale, the loudest of each step; return (step us, bytes).

    crests: floor.segment's, one a block. 255 stands for nothing above the noise.
    """
    blocks = min(blocks, len(crests))
    each = max(1, (blocks + ENVELOPE_MOST - 1) // ENVELOPE_MOST)
    packed = bytearray((blocks + each - 1) // each)
    for i in range(len(packed)):
        crest = max(crests[i * each : min(blocks, (i + 1) * each)])
        below_cdb = -CREST_TO_DBFS_CDB - cdb(crest)
        packed[i] = min(_SILENCE - 1, max(0, below_cdb // _STEP_CDB)) if crest else _SILENCE
    return each * sampling.BLOCK_US, bytes(packed)


def sound_parts(sounds: Sounds, least_evidence_cdb: int) -> list[tuple[Values, bytes]]:
    """Return the sounds worth keeping as record parts [(values, tail)], in time order.

    A sound is kept if it was heard singly (least_evidence_cdb) or is part of a train.
    """
    rows = [
        row
        for row in range(sounds.count)
        if sounds.evidence_cdb[row] >= least_evidence_cdb or sounds.kind[row] != names.OTHER
    ]
    rows.sort(key=lambda row: sounds.time_us[row])
    parts = []
    for first in range(0, len(rows), SOUNDS_MOST):
        chunk = rows[first : first + SOUNDS_MOST]
        tail = b"".join([_sound_bytes(sounds, row) for row in chunk])
        parts.append(({"reading_seq": 1, "first": first, "count": len(chunk)}, tail))
    return parts


def _sound_bytes(sounds: Sounds, row: int) -> bytes:
    return struct.pack(
        _SOUND_FORMAT,
        min(_WORD_MOST, max(0, sounds.time_us[row]) // _TIME_UNIT_US),
        max(records.NONE_I16 + 1, min(_LEVEL_MOST_CDB, sounds.level_cdb[row])),
        min(_FREQUENCY_MOST, max(0, sounds.frequency_hz[row]) // _FREQUENCY_UNIT_HZ),
        min(_WORD_MOST, sounds.length_us[row] // _LENGTH_UNIT_US),
        sounds.kind[row],
    )
