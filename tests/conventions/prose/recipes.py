"""The recipes of DEVELOPERS.md that a test carries out: the edits by name, on a copy of the tree."""

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.paths import ROOT

FOLDERS = ("host", "protocol", "firmware", "demo_data", "tests", "hardware_notes")
FILES = ("DEVELOPERS.md", "README.md", "CHANGELOG.md", "pyproject.toml", ".ci/run")


# What must pass in a copy after every recipe: each fact once, documented, read and in its room, and the wire with its
# vectors. Types, and the proofs of the rules themselves, take minutes and say nothing of the edits.
EVERYWHERE = (
    "tests/conventions/facts",
    "tests/conventions/test_documented.py",
    "tests/conventions/test_rooms.py",
    "tests/conventions/test_unread.py",
    "tests/unit/wire/test_spec.py",
    "tests/unit/wire/test_vectors.py",
    "-k",
    "not planted and not selection and not seen and not refused",
)


@dataclass(frozen=True)
class Recipe:
    """What to do for a new thing of one kind.

    edit: carries out the edits in a copy. touched: the files that the recipe names. generators: the modules that it
    says to run afterwards. rooms: the folders of tests about what it touches, which must pass in the copy beside
    EVERYWHERE. proof: a program that uses the new thing and fails where it does not work.
    """

    edit: Callable[[Path], None]
    touched: frozenset[str]
    generators: tuple[str, ...]
    rooms: tuple[str, ...]
    proof: str


def copy_tree(target: Path) -> None:
    """Copy everything that a recipe may touch or run."""
    for name in FOLDERS:
        shutil.copytree(ROOT / name, target / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in FILES:
        (target / name).parent.mkdir(exist_ok=True)
        shutil.copy(ROOT / name, target / name)


def digest(root: Path) -> dict[str, bytes]:
    """The contents of every file of a tree."""
    kept = (path for path in root.rglob("*") if path.is_file() and "cache" not in str(path.relative_to(root)))
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in kept}


def insert(root: Path, name: str, before: str, text: str) -> None:
    """Put a text before the one place where another one stands in a file."""
    path = root / name
    content = path.read_text(encoding="utf-8")
    assert content.count(before) == 1, f"{before!r} stands {content.count(before)} times in {name}"
    path.write_text(content.replace(before, text + before), encoding="utf-8")


def add_class(root: Path) -> None:
    """A sensor class of 54 kHz, and a van that carries it."""
    row = '    {"class_khz": 54, "centre_hz": 54_000, "window_hz": 6_500},\n'
    insert(root, CLASSES, '    {"class_khz": 58,', row)
    depot = json.loads((root / DEPOT).read_text(encoding="utf-8"))
    van = {"name": "LH-54", "type": "van", "interval_ms": 200, "rear": {"positions": 4, "class_khz": 54}}
    depot["vehicles"].append(van)
    (root / DEPOT).write_text(json.dumps(depot, indent=2), encoding="utf-8")


def add_message(root: Path) -> None:
    """A request for the probe's uptime in seconds, which anybody may send."""
    insert(root, MESSAGES, "GREET, STATS, READ,", "UPTIME = 63\n")
    insert(root, MESSAGES, '    (KEYS, "keys",', '    (UPTIME, "uptime", (), None, OPEN),\n')
    reply = '    (UPTIME | REPLY, "uptime_reply", (("uptime_s", "I", 0, _U32),), None),\n'
    insert(root, MESSAGES, '    (KEYS | REPLY, "keys_reply",', reply)
    insert(root, TEXTS, '    "keys": "Which', '    "uptime": "How long is the probe running?",\n')
    insert(root, TEXTS, '    "keys_reply":', '    "uptime_reply": "",\n')
    insert(root, TEXTS, '    "revision": "of', '    "uptime_s": "since power-up",\n')
    insert(root, SERVICE, "            messages.KEYS:", "            messages.UPTIME: self._uptime,\n")
    handler = (
        "    def _uptime(self, _values: Values) -> Reply:\n"
        '        return {"uptime_s": self._probe.clock.ticks_ms() // 1000}, b""\n\n'
    )
    insert(root, SERVICE, "    def _limits_get(", handler)
    method = (
        "    def uptime_s(self) -> int:\n"
        '        """How long the probe is running, in seconds."""\n'
        "        reply, _ = self._ask(messages.UPTIME)\n"
        '        return int(reply["uptime_s"])\n\n'
    )
    insert(root, CLIENT, "    def self_test(self)", method)


def add_page(root: Path) -> None:
    """A page that counts the fleet's vehicles."""
    insert(
        root, SITE_MAP, "# In the order of the navigation.", 'COUNTS = PageName("counts.html", "Counts")\n\n'
    )
    path = root / SITE_MAP
    path.write_text(path.read_text().replace("LIMITS, PROBES)", "LIMITS, PROBES, COUNTS)"), encoding="utf-8")
    (root / TEMPLATE).write_text(
        '{% extends "base.html" %}{% block main %}<h1>Counts</h1><p>{{ vehicles }} vehicles.</p>{% endblock %}\n',
        encoding="utf-8",
    )
    (root / PAGE).write_text(
        '"""The page of counts."""\n\n'
        "from curbtick.report.pages.frame import Frame\nfrom curbtick.report.views import site_map\n\n\n"
        "def counts_page(frame: Frame, vehicles: int) -> str:\n"
        '    """How many vehicles there are."""\n'
        "    return frame.render(site_map.COUNTS.file, set(), vehicles=vehicles)\n",
        encoding="utf-8",
    )
    insert(
        root,
        SITE,
        "from curbtick.report.pages.day import",
        "from curbtick.report.pages.counts import counts_page\n",
    )
    row = "            site_map.COUNTS.file: lambda: counts_page(self.frame, len(self.states)),\n"
    insert(root, SITE, "            site_map.PROBES.file: self._probes,\n", row)


CLASSES = "protocol/curbtick_wire/classes.py"
DEPOT = "demo_data/depot.json"
MESSAGES = "protocol/curbtick_wire/messages.py"
TEXTS = "protocol/curbtick_wire/texts.py"
SERVICE = "firmware/curbtick_probe/link/service.py"
CLIENT = "host/curbtick/link/client.py"
SITE_MAP = "host/curbtick/report/views/site_map.py"
TEMPLATE = "host/curbtick/report/templates/counts.html"
PAGE = "host/curbtick/report/pages/counts.py"
SITE = "host/curbtick/report/site.py"

RECIPES = {
    "class": Recipe(
        add_class,
        frozenset((CLASSES, DEPOT)),
        ("tests.vectors.make_spec",),
        ("tests/unit/probe/store/slots", "tests/unit/bench/limits", "tests/unit/bench/fleet/test_todo.py"),
        "from curbtick.yard.scenes.scenes import single_scene\nfrom curbtick_wire import names\n"
        "from tests.unit.probe.bumper.readingdata import Prober\n"
        "with Prober() as prober:\n"
        "    reading = prober.take(single_scene(54).ear, 54)\n"
        'assert reading.values["verdict"] == names.PASS, reading.values\n',
    ),
    "message": Recipe(
        add_message,
        frozenset((MESSAGES, TEXTS, SERVICE, CLIENT)),
        ("tests.vectors.make_spec", "tests.vectors.make_records"),
        ("tests/unit/probe/link", "tests/unit/bench/link", "tests/pair/link/test_link.py"),
        "import pathlib, tempfile\n"
        "from tests.pair.link.harness import Bench\n"
        "bench = Bench(pathlib.Path(tempfile.mkdtemp()), 'pairing')\n"
        "with bench.connect() as client:\n"
        "    assert 0 <= client.uptime_s() < 60\n"
        "bench.close()\n",
    ),
    "page": Recipe(
        add_page,
        frozenset((SITE_MAP, TEMPLATE, PAGE, SITE)),
        (),
        ("tests/unit/bench/report", "tests/unit/bench/commands/test_catalogue.py"),
        "import pathlib, tempfile\n"
        "from curbtick.dates import day_start_ms\n"
        "from curbtick.report import build\n"
        "from curbtick.store.history import Store\n"
        "folder = pathlib.Path(tempfile.mkdtemp())\n"
        "with Store(folder / 'h.db') as store:\n"
        "    day_ms = day_start_ms('2026-11-23'); build(store, folder / 'report', day_ms, day_ms)\n"
        "assert '0 vehicles.' in (folder / 'report/counts.html').read_text()\n"
        "assert 'counts.html' in (folder / 'report/index.html').read_text()\n",
    ),
}
