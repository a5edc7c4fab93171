"""What the log keeps of a reading's sound: the strongest burst's samples, the envelope, the list of sounds."""

import struct

from curbtick_wire import names, records
from micropython import const

from curbtick_probe.bumper.measure import CREST_TO_DBFS_CDB, cdb
from curbtick_probe.dsp.burst import pack

SOUNDS_MOST = const(80)
ENVELOPE_MOST = const(150)
_BLOCK_US = const(4096)
_SOUND_FORMAT = "<HhHHB"


def wave_bytes(wave):
    """Pack samples to a byte each, as (code - 2048) >> shift offset by 128; return (shift, bytes).

    wave: codes 0..4095. shift: 0..4, the least that fits the largest swing.
    """
    packed = bytearray(len(wave))
    shift = pack.pack(wave, packed, len(wave))
    return shift, bytes(packed)


def envelope_bytes(crests, blocks):
    """Pack the blocks' loudest excess to half dB below full scale, the loudest of each step; return (step us, bytes).

    crests: floor.segment's, one a block. 255 stands for nothing above the noise.
    """
    blocks = min(blocks, len(crests))
    each = max(1, (blocks + ENVELOPE_MOST - 1) // ENVELOPE_MOST)
    packed = bytearray((blocks + each - 1) // each)
    for i in range(len(packed)):
        crest = 0
        for k in range(i * each, min(blocks, (i + 1) * each)):
            crest = max(crest, crests[k])
        below_cdb = -CREST_TO_DBFS_CDB - cdb(crest)
        packed[i] = min(254, max(0, below_cdb // 50)) if crest else 255
    return each * _BLOCK_US, bytes(packed)


def sound_parts(sounds, least_evidence_cdb):
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


def _sound_bytes(sounds, row):
    return struct.pack(
        _SOUND_FORMAT,
        min(65535, max(0, sounds.time_us[row]) // 50),
        max(records.NONE_I16 + 1, min(600, sounds.level_cdb[row])),
        min(62500, max(0, sounds.frequency_hz[row]) // 2),
        min(65535, sounds.length_us[row] // 10),
        sounds.kind[row],
    )
