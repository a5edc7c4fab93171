"""The recipes of DEVELOPERS.md are true: three are carried out in a copy, and every path that any names exists."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conventions.prose.recipes import EVERYWHERE, RECIPES, copy_tree, digest
from tests.paths import ROOT

PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = PAGE[PAGE.index("## Recipes") : PAGE.index("\n## ", PAGE.index("## Recipes") + 1)]
# What a generator writes.
GENERATED = {"protocol/SPEC.md", "tests/vectors/records.jsonl"}


def run(root: Path, *words: str) -> None:
    """Run Python in a copy of the tree, with its own sources; fails with what the program said."""
    paths = os.pathsep.join(str(root / name) for name in ("host", "protocol", "firmware", "tests/shim", "."))
    done = subprocess.run(
        [sys.executable, *words],
        cwd=root,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]


@pytest.mark.parametrize("name", RECIPES)
def test_a_recipe_s_edits_are_all_that_is_needed(name: str, tmp_path: Path) -> None:
    recipe = RECIPES[name]
    copy_tree(tmp_path)
    before = digest(tmp_path)
    recipe.edit(tmp_path)
    for generator in recipe.generators:
        run(tmp_path, "-m", generator)
    after = digest(tmp_path)
    changed = {path for path in before.keys() | after.keys() if before.get(path) != after.get(path)}
    assert changed - GENERATED == recipe.touched
    run(tmp_path, "-c", recipe.proof)
    run(tmp_path, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *EVERYWHERE, *recipe.rooms)


@pytest.mark.parametrize("name", RECIPES)
def test_developers_md_names_each_file_that_a_recipe_touches(name: str) -> None:
    unnamed = {path for path in RECIPES[name].touched if path not in SECTION}
    # Of files that the recipe makes, the page names the folder.
    assert not {path for path in unnamed if (ROOT / path).exists() or str(Path(path).parent) not in SECTION}
    assert not {generator for generator in RECIPES[name].generators if generator not in SECTION}


def test_every_path_of_the_map_exists() -> None:
    named = set(re.findall(r"`((?:host|firmware|protocol|tests|demo_data|hardware_notes)/[\w./-]*)`", PAGE))
    assert len(named) > 10
    assert not [path for path in sorted(named) if not (ROOT / path).exists()]
