"""A hint names packages that an index really has, and a clone where nothing is installed."""

import tomllib
from importlib.metadata import PackageNotFoundError

import pytest
from curbtick import extras
from packaging.requirements import Requirement

from tests.paths import ROOT


@pytest.mark.parametrize("extra", ["demo", "parquet", "install", "postgresql"])
def test_a_hint_names_what_the_extra_lists(extra: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {Requirement(line).name for line in project["optional-dependencies"][extra]}
    words = extras.how_to_install(extra).strip("`").split(" ")[2:]
    assert {Requirement(word.strip("'")).name for word in words} == named


def test_without_an_installed_package_it_names_the_clone(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(_name: str) -> list[str]:
        raise PackageNotFoundError

    monkeypatch.setattr(extras, "requires", missing)
    assert extras.how_to_install("demo") == "`pip install '.[demo]'` in a clone of the project"
