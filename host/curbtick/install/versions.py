"""Putting the firmware on a board, and going back to the version before.

Two versions lie in /fw/a and /fw/b with a manifest each; /fw/active names the one that starts. A new
version is copied beside the one in force and verified by hash on the board before /fw/active is replaced,
so that a cut at any moment leaves a board that starts. Readings lie in /probe and are not touched.
"""

import json
import re
from dataclasses import dataclass

from curbtick.errors import CurbtickError, LinkError
from curbtick.install import image as firmware_image
from curbtick.install.board_files import BoardFiles
from curbtick.install.image import ARCHITECTURES, CHIP_ARCHITECTURE, Image
from curbtick.progress import Progress

FOLDER = "/fw"
SLOTS = ("a", "b")
MANIFEST = "manifest.json"
LEAST_VERSION = (1, 28)
SPARE_BYTES = 20_000
# What wireless boards call themselves: "... Pico W with RP2040", "... Pico 2 W with RP2350" (MicroPython v1.28.0,
# ports/rp2/boards).
_WIRELESS = re.compile(r"\bPico\b.*\bW\b")
_ETHERNET = re.compile(r"\bW5[15]00S?\b")


@dataclass(frozen=True)
class BoardFacts:
    """What the board says of itself."""

    machine: str
    micropython: tuple[int, ...]
    mpy_version: int
    mpy_sub_version: int
    architecture: str
    free_bytes: int


@dataclass(frozen=True)
class Installed:
    """What is in force on a board after install() or back().

    slot: the folder that starts.
    version: of the firmware in it.
    bytes, files: its size.
    before: the version that was in force before, None for none.
    """

    slot: str
    version: str
    bytes: int
    files: int
    before: str | None


def facts(board: BoardFiles, root: str = "") -> BoardFacts:
    """Ask the board for its chip, MicroPython, .mpy format and free flash."""
    name, version, mpy = board.evaluate(
        "(sys.implementation._machine, tuple(sys.implementation.version[:3]), sys.implementation._mpy)", "sys"
    )
    block, _, _, free_blocks, *_ = board.evaluate(f"os.statvfs({root or '/'!r})", "os")
    architecture = ARCHITECTURES[mpy >> 10 & 15]
    return BoardFacts(name, version, mpy & 255, mpy >> 8 & 3, architecture, block * free_blocks)


def image_for(board: BoardFacts) -> Image:
    """Compile for a board.

    Raises CurbtickError when its pins differ from the probe's, when its MicroPython is too old or of another .mpy
    format.
    """
    if _WIRELESS.search(board.machine):
        raise _wireless(board.machine)
    if _ETHERNET.search(board.machine):
        raise _with_ethernet(board.machine)
    arm = board.architecture.startswith("arm")
    image = firmware_image.build(CHIP_ARCHITECTURE if arm else board.architecture)
    if board.micropython[:2] < LEAST_VERSION:
        raise _unsuitable(f"The board runs MicroPython {_dotted(board.micropython)}, which is too old.")
    if (board.mpy_version, board.mpy_sub_version) != (image.mpy_version, image.mpy_sub_version):
        raise _unsuitable(
            f"The board takes .mpy format {board.mpy_version}.{board.mpy_sub_version}, "
            f"the compiler makes {image.mpy_version}.{image.mpy_sub_version}."
        )
    return image


def _wireless(machine: str) -> CurbtickError:
    """Its radio hangs on GPIO 23, 24, 25 and 29 (the vendor's board header pico_w.h, pico-sdk 2.2.0)."""
    return CurbtickError(
        f"The board calls itself {machine}: a wireless one, whose radio holds GPIO 23, 24 and 29.",
        "Nothing was copied: the probe needs these pins for its supply's mode and voltage and to see the USB cable.",
        "Take the same board without a radio (hardware_notes/parts.md), and install again.",
    )


def _with_ethernet(machine: str) -> CurbtickError:
    """Its network chip hangs on GPIO 16 to 21 (MicroPython's ports/rp2/boards/W5500_EVB_PICO, v1.28.0)."""
    return CurbtickError(
        f"The board calls itself {machine}: one with Ethernet, whose network chip drives GPIO 16.",
        "Nothing was copied: the probe's beeper is on that pin.",
        "Take the same board without Ethernet (hardware_notes/parts.md), and install again.",
    )


def _dotted(version: tuple[int, ...]) -> str:
    return ".".join(map(str, version))


def _unsuitable(what: str) -> CurbtickError:
    return CurbtickError(
        what,
        "Nothing was copied; readings on the board are untouched.",
        f"Put MicroPython {_dotted(LEAST_VERSION)} or newer on the board (its UF2 file, board held in BOOTSEL), "
        "and install again.",
    )


def active_slot(board: BoardFiles, root: str = "") -> str | None:
    """The slot that starts, or None on a board without the firmware."""
    named = (board.read(f"{root}{FOLDER}/active") or b"").decode("ascii", "replace").strip()
    return named if named in SLOTS else None


def _manifest(board: BoardFiles, slot: str, root: str) -> dict[str, str] | None:
    text = board.read(f"{root}{FOLDER}/{slot}/{MANIFEST}")
    try:
        manifest = json.loads(text) if text else None
    except ValueError:
        return None
    return (
        manifest["files"] if isinstance(manifest, dict) and isinstance(manifest.get("files"), dict) else None
    )


def version_of(board: BoardFiles, slot: str, root: str = "") -> str | None:
    """The version in a slot, or None where there is none whole."""
    text = board.read(f"{root}{FOLDER}/{slot}/{MANIFEST}")
    try:
        return str(json.loads(text)["version"]) if text else None
    except (ValueError, KeyError, TypeError):
        return None


def install(
    board: BoardFiles, image: Image, free_bytes: int, progress: Progress, root: str = ""
) -> Installed:
    """Copy a version into the slot that is not in force, verify it, and put it in force.

    progress: called with the bytes done and of how many. root: a prefix of every path, for a board whose
    file system does not start at /. Raises CurbtickError; the version in force before then still is.
    """
    before = active_slot(board, root)
    slot = SLOTS[1] if before == SLOTS[0] else SLOTS[0]
    folder = f"{root}{FOLDER}/{slot}"
    board.remove(folder)
    if free_bytes < image.size + SPARE_BYTES:
        raise CurbtickError(
            f"The board has {free_bytes} bytes of flash free, the firmware needs {image.size + SPARE_BYTES}.",
            "Nothing was put in force; the probe runs as before.",
            "Pull and acknowledge its readings first (curbtick pull), then install again.",
        )
    _copy(board, image, folder, progress)
    _verify(board, image.hashes(), folder)
    board.write_whole(f"{folder}/{MANIFEST}", _manifest_text(image))
    _put_chooser(board, root)
    board.write_whole(f"{root}{FOLDER}/active", slot.encode())
    old = version_of(board, before, root) if before else None
    return Installed(slot, image.digest, image.size, len(image.files), old)


def _copy(board: BoardFiles, image: Image, folder: str, progress: Progress) -> None:
    folders: set[str] = set()
    bytes_sent = 0
    for path, data in image.files.items():
        parent = f"{folder}/{path}".rpartition("/")[0]
        if parent not in folders:
            board.make_folder(parent)
            folders.add(parent)
        board.write(f"{folder}/{path}", data)
        bytes_sent += len(data)
        progress(bytes_sent, image.size)


def _verify(board: BoardFiles, hashes: dict[str, str], folder: str) -> None:
    wrong = [path for path, expected in hashes.items() if board.digest(f"{folder}/{path}") != expected]
    if wrong:
        raise LinkError(
            f"{len(wrong)} files did not land as they were sent, first {wrong[0]}.",
            "The version in force before is still the one that starts; readings are untouched.",
            "Repeat the command; if it fails again, the board's flash is worn out.",
        )


def _manifest_text(image: Image) -> bytes:
    return json.dumps({"version": image.digest, "files": image.hashes()}, separators=(",", ":")).encode()


def _put_chooser(board: BoardFiles, root: str) -> None:
    if board.read(f"{root}/main.py") != firmware_image.chooser():
        board.write_whole(f"{root}/main.py", firmware_image.chooser())


def back(board: BoardFiles, root: str = "") -> Installed:
    """Put the version before in force again, once its files are verified. Raises CurbtickError where there is none."""
    now = active_slot(board, root)
    slot = SLOTS[1] if now == SLOTS[0] else SLOTS[0]
    hashes = _manifest(board, slot, root)
    if now is None or hashes is None:
        raise CurbtickError(
            "The board holds no version before this one.",
            "Nothing was changed; the probe runs as before.",
            "Install the version wanted with the curbtick release that brings it.",
        )
    _verify(board, hashes, f"{root}{FOLDER}/{slot}")
    board.write_whole(f"{root}{FOLDER}/active", slot.encode())
    size = sum(
        board.evaluate(f"os.stat({root + FOLDER + '/' + slot + '/' + path!r})[6]", "os") for path in hashes
    )
    version = version_of(board, slot, root) or ""
    return Installed(slot, version, size, len(hashes), version_of(board, now, root))
