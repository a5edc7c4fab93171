"""One version for the package, the firmware in it and the greeting."""

import tomllib

import curbtick_probe

from tests.paths import ROOT


def test_the_firmware_has_the_packages_version() -> None:
    package = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert package == curbtick_probe.VERSION
    assert len(package.encode()) <= 12
