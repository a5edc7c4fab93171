"""The parts of the app: each is given what it needs, and every gesture finds the part that does it."""

import ast
import inspect
from pathlib import Path

import pytest
from curbtick_probe.app.checks import Checks
from curbtick_probe.app.display import Display
from curbtick_probe.app.machine import _WISHES, App
from curbtick_probe.app.readings import Readings
from curbtick_probe.panel.gestures import GESTURE_TABLE

from tests.paths import PROBE

PARTS = (App, Readings, Checks, Display)


@pytest.mark.parametrize("action", sorted({*GESTURE_TABLE.values(), *_WISHES.values()}))
def test_every_action_is_a_method_without_arguments(action: str) -> None:
    part = next(part for part in PARTS if hasattr(part, action))
    assert list(inspect.signature(getattr(part, action)).parameters) == ["self"]


@pytest.mark.parametrize("path", sorted((PROBE / "app").glob("*.py")), ids=lambda path: path.name)
def test_only_the_start_knows_the_app(path: Path) -> None:
    """What imports cannot show: a part that is handed the app could reach every other part."""
    words = {
        node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else node.arg
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Name | ast.Attribute | ast.arg)
    }
    assert not {word for word in words if word.strip("_").lower() == "app"} or path.name == "start.py"
