"""File-system images for the emulated board, made by the MicroPython unix port's own littlefs."""

import os
import subprocess
from pathlib import Path

from curbtick.device import firmware_folder, protocol_folder
from curbtick.virtual.probe.micropython import find_micropython

_COPY = """
import os, sys
from curbtick_probe.board.virtual import flashdisk

def copy(source, target):
    for name, kind, *_ in os.ilistdir(source):
        if kind == 0x4000:
            os.mkdir(target + "/" + name)
            copy(source + "/" + name, target + "/" + name)
        else:
            with open(source + "/" + name, "rb") as file:
                data = file.read()
            with open(target + "/" + name, "wb") as file:
                file.write(data)

def mount(path, point):
    flashdisk.mount(flashdisk.FlashDisk(path, lambda duration_us: None), point)

action, image, folder = sys.argv[1:4]
mount(image, "/image")
if action == "fill":
    copy(folder, "/image")
    if len(sys.argv) > 4:
        mount(sys.argv[4], "/probe_was")
        os.mkdir("/image/probe")
        copy("/probe_was", "/image/probe")
else:
    copy("/image", folder)
os.umount("/image")
"""


def _run(*words: str) -> None:
    done = subprocess.run(
        [*find_micropython(), "-X", "heapsize=4m", "-c", _COPY, *words],
        env={**os.environ, "MICROPYPATH": f"{firmware_folder()}:{protocol_folder()}:.frozen"},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(done.stdout + done.stderr)


def make(image: Path, folder: Path, virtual_flash: Path | None = None) -> bytes:
    """Format an image and fill it with a folder's files; a virtual probe's flash becomes its data directory."""
    _run("fill", str(image), str(folder), *([str(virtual_flash)] if virtual_flash else []))
    return image.read_bytes()


def unpack(data: bytes, image: Path, folder: Path) -> None:
    """Copy everything in a file system out into a folder."""
    image.write_bytes(data)
    folder.mkdir()
    _run("empty", str(image), str(folder))
