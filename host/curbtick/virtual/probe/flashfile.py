"""The file that is a virtual probe's flash, looked at before a program starts on it."""

from pathlib import Path

from curbtick_wire.virtual import FLASH_BLOCK_BYTES, FLASH_BLOCKS

from curbtick.errors import InputError

# What littlefs writes into one of its first two blocks, or both.
MAGIC = b"littlefs"


def check(path: Path, block_count: int = FLASH_BLOCKS) -> None:
    """Raise InputError for a file that cannot be a probe's flash, or cannot be made."""
    try:
        is_flash = _is_flash(path, block_count) if path.exists() else _can_be_made(path)
    except OSError as error:
        raise _refused(f"The flash file {path} cannot be used: {error.strerror}.") from error
    if not is_flash:
        raise _refused(f"{path} is not the flash file of a probe.")


def _is_flash(path: Path, block_count: int) -> bool:
    if not path.is_file() or path.stat().st_size != block_count * FLASH_BLOCK_BYTES:
        return False
    with path.open("r+b") as file:
        return MAGIC in file.read(2 * FLASH_BLOCK_BYTES)


def _can_be_made(path: Path) -> bool:
    """Make it and take it away again: the probe formats only what it made itself."""
    path.open("xb").close()
    path.unlink()
    return True


def _refused(what: str) -> InputError:
    return InputError(
        what,
        "It is as it was; no reading was made.",
        "Name another flash file; one that is not there yet is made.",
    )
