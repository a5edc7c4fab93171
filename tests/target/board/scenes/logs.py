"""What a probe's log holds, read out of its flash by the firmware's own log on the unix port."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from typing import Any

from curbtick.device import firmware_folder, protocol_folder
from curbtick.virtual.probe.micropython import find_micropython
from curbtick_wire import codec

_DUMP = """
import sys
from curbtick_probe.board.virtual import flashdisk
from curbtick_probe.store.log import Log

flashdisk.mount(flashdisk.FlashDisk(sys.argv[1], lambda duration_us: None), "/image")
for record in Log("/image" + sys.argv[2], 65535, lambda: 0).iter_from(int(sys.argv[3])):
    print(record.hex())
"""


def records_in(flash: Path, first_seq: int, folder: str = "") -> list[dict[str, Any]]:
    """Decoded records of a copy of a flash, from a number on; `folder`: where in it the probe's data stands.

    Opening a log mends it, so the file may change.
    """
    words = [str(flash), folder, str(first_seq)]
    done = subprocess.run(
        [*find_micropython(), "-X", "heapsize=4m", "-c", _DUMP, *words],
        env={**os.environ, "MICROPYPATH": f"{firmware_folder()}:{protocol_folder()}:.frozen"},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(done.stdout + done.stderr)
    return [codec.decode_record(bytes.fromhex(line)) for line in done.stdout.split()]
