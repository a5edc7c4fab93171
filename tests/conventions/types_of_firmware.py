"""Type-checks firmware/ and protocol/ against MicroPython's own modules instead of CPython's.

The stub packages micropython-rp2-stubs and micropython-stdlib-stubs are written for a folder of their own,
beside no CPython; so their files are gathered into one under the cache folder, once for each pair of
versions.
"""

import shutil
from importlib.metadata import distribution
from pathlib import Path

from mypy import api

ROOT = Path(__file__).resolve().parents[2]
STUB_PACKAGES = ("micropython-rp2-stubs", "micropython-stdlib-stubs")
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


def check(*paths: str) -> str:
    """mypy's findings in the paths, a line each, or nothing; without the stubs' own faults."""
    stubs = stub_folder()
    configuration = stubs / "mypy.ini"
    configuration.write_text(
        "[mypy]\n"
        f"mypy_path = {stubs}:{ROOT}/firmware:{ROOT}/protocol\n"
        f"custom_typeshed_dir = {stubs}\n"
        f"cache_dir = {CACHE}/firmware\n"
        "check_untyped_defs = True\n"
        "warn_unreachable = True\n"
        "explicit_package_bases = True\n"
    )
    report, problems, code = api.run(["--config-file", str(configuration), "--no-error-summary", *paths])
    if problems or code not in (0, 1):
        raise RuntimeError(f"mypy did not run: {report}{problems}")
    stub_prefix = str(stubs.relative_to(ROOT))
    return "\n".join(line for line in report.splitlines() if not line.startswith(stub_prefix))


if __name__ == "__main__":
    raise SystemExit(check(str(ROOT / "firmware")) or 0)
