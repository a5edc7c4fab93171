"""Type-checks firmware/ and protocol/, mypy strict, against MicroPython's own modules instead of CPython's.

The stub packages micropython-rp2-stubs and micropython-stdlib-stubs are written for a folder of their own,
beside no CPython; so their files are gathered into one under the cache folder, once for each pair of
versions.
"""

import shutil
from importlib.metadata import distribution
from pathlib import Path

from mypy import api

from tests.conventions.sources import shown, viper_functions
from tests.paths import FIRMWARE, ROOT, WIRE

STUB_PACKAGES = ("micropython-rp2-stubs", "micropython-stdlib-stubs")

# What the stubs of 1.29 say wrongly; the firmware runs on MicroPython in the pair tests.
STUB_FAULTS = (
    'incompatible type "FlashDisk"; expected "AbstractBlockDev"',  # whatever has its methods is a block device
    'Cannot instantiate abstract class "VfsLfs2"',  # the block device's methods are its argument's, not its own
    '"DMA" has no attribute "channel"',  # rp2.DMA has channel, read, write, count and ctrl
    '"DMA" has no attribute "read"',
    '"print_exception" has incompatible type "TextIO | Any"',  # sys.stderr is a stream as good as any
    '"crc32" has incompatible type "memoryview[int]"',  # any buffer will do
    'expected "ptr',  # a viper pointer takes any buffer
    'expression has type "_TicksUs", variable has type "int"',  # ticks are small integers
)
CACHE = ROOT / ".mypy_cache"


def stub_folder() -> Path:
    """The folder that holds both packages' stubs; made on first use."""
    versions = "-".join(distribution(name).version for name in STUB_PACKAGES)
    folder = CACHE / f"micropython-{versions}"
    if not folder.exists():
        unfinished = folder.with_suffix(".unfinished")
        shutil.rmtree(unfinished, ignore_errors=True)
        for name in STUB_PACKAGES:
            _copy_stubs(name, unfinished)
        unfinished.rename(folder)
    return folder


def _copy_stubs(package: str, folder: Path) -> None:
    for file in distribution(package).files or ():
        if file.suffix == ".pyi" or file.name == "VERSIONS":
            target = folder / file
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(str(file.locate()), target)


def check() -> str:
    """mypy's findings in firmware/ and protocol/, a line each, or nothing; without the stubs' own faults."""
    stubs = stub_folder()
    configuration = stubs / "mypy.ini"
    configuration.write_text(
        "[mypy]\n"
        f"mypy_path = {stubs}:{FIRMWARE}:{WIRE.parent}\n"
        f"custom_typeshed_dir = {stubs}\n"
        f"cache_dir = {CACHE}/firmware\n"
        "strict = True\n"
        "explicit_package_bases = True\n"
    )
    paths = [str(WIRE), *map(str, sorted(FIRMWARE.rglob("*.py")))]
    report, problems, code = api.run(["--config-file", str(configuration), "--no-error-summary", *paths])
    if problems or code not in (0, 1):
        raise RuntimeError(f"mypy did not run: {report}{problems}")
    stub_prefix = str(stubs.relative_to(ROOT))
    found = [line for line in report.splitlines() if not line.startswith(stub_prefix)]
    # A viper function can say that it returns `int`, but not that it returns nothing.
    kernels = {
        f"{shown(kernel.path)}:{kernel.node.lineno}: error: Function is missing a return type annotation"
        for kernel in viper_functions()
    }
    faults = (*STUB_FAULTS, *kernels)
    return "\n".join(line for line in found if not any(fault in line for fault in faults))


if __name__ == "__main__":
    raise SystemExit(check() or 0)
