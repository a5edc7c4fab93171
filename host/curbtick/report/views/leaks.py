"""The seal and hiss checks on the pages: rows and a map of a vehicle's sections, the flow beside a hiss, and what of
them stands.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import groupby

from markupsafe import Markup

from curbtick.dates import date, when
from curbtick.fleet.leaks import PRESSURES_BAR, Body, Check, FlowRow, Section, flow_reference
from curbtick.report.views import places, site_map

UNKNOWN_VEHICLE = "not assigned"
LETTERS = {"leak": "L", "tight": "T", "hiss": "H", "quiet": "Q", "tone": "~", "retry": "R"}
# The map's shapes take the colours of the bumper verdicts: a finding, a good section, one without a verdict.
SHADES = {"leak": "dead", "hiss": "dead", "tone": "weak", "tight": "pass", "quiet": "pass", "retry": "retry"}
COMPARED = {"seal": "dB below the free reference", "hiss": "dB above the background"}
FLOW_CAUTION = (
    "Computed choked flow of free air through a sharp-edged hole: an order of magnitude for comparison. "
    "A hiss check measures no flow."
)
# The map's full height: 36 dB, as the probe's bar has it.
_RANGE_DB, _WIDTH, _HEIGHT = 36.0, 40, 60
# So many sections stand side by side, which is what a phone is wide.
_ABREAST = 8


@dataclass(frozen=True)
class LeakViews:
    """What the day's page shows of both checks. maps: a vehicle's name, the check, and the drawing of its sections."""

    rows: Sequence[Mapping[str, str]]
    maps: Sequence[tuple[str, str, Markup]]
    flow: Sequence[FlowRow]
    pressures_bar: Sequence[float]
    caution: str


def leak_views(sections: Sequence[Section], vehicle_names: Mapping[int, str]) -> LeakViews:
    """The views of a day's sections; the flow table goes with hiss sections only."""

    def name(section: Section) -> str:
        return vehicle_names.get(section.vehicle_id or 0, UNKNOWN_VEHICLE)

    ordered = sorted(sections, key=lambda section: (name(section), section.check))
    maps = [
        (vehicle, check, section_map(list(group)))
        for (vehicle, check), group in groupby(ordered, lambda section: (name(section), section.check))
    ]
    has_hiss = any(section.check == "hiss" for section in sections)
    return LeakViews(
        rows=[_row(section, name(section)) for section in sections],
        maps=maps,
        flow=flow_reference() if has_hiss else (),
        pressures_bar=PRESSURES_BAR,
        caution=FLOW_CAUTION,
    )


def _row(section: Section, vehicle: str) -> dict[str, str]:
    compared = places.number(section.compared_db, 1)
    return {
        "check": section.check,
        "vehicle": vehicle,
        "section": str(section.number),
        "verdict": section.verdict,
        "level": places.number(section.level_db, 1),
        "compared": f"{compared} {COMPARED[section.check]}" if compared else "",
        "tone": f"{section.tone_hz / 1e3:.2f} kHz" if section.tone_hz else "",
        "why": places.reasons_in_words(section.reasons),
        "when": when(section.time_ms),
    }


@dataclass(frozen=True)
class BodyView:
    """What a vehicle's page shows of both checks. pointers: what stands; maps: (heading, drawing) of each check."""

    pointers: Sequence[str]
    maps: Sequence[tuple[str, Markup]]
    rows: Sequence[Mapping[str, str]]


def body_view(body: Body) -> BodyView:
    """The newest check of each kind, and those whose findings stand."""
    return BodyView(
        body.pointers,
        [(_heading(check), section_map(check.sections)) for check in body.shown],
        [_row(section, "") for check in body.shown for section in check.sections],
    )


def _heading(check: Check) -> str:
    return f"{check.kind} check, {date(check.sections[-1].time_ms)}"


@dataclass(frozen=True)
class BodyLine:
    """What stands of one vehicle's body."""

    vehicle: str
    href: str
    pointers: Sequence[str]


def body_lines(bodies: Mapping[int, Body], vehicle_names: Mapping[int, str]) -> list[BodyLine]:
    """What stands of these vehicles' bodies, by name."""
    standing = [(vehicle_names[key], key, body.pointers) for key, body in bodies.items() if body.standing]
    return [BodyLine(name, site_map.vehicle(key), words) for name, key, words in sorted(standing)]


def height_db(section: Section) -> float:
    """How high a section's bar stands: dB above the background, or how near the tone came to the free reference."""
    if section.compared_db is None:
        return 0.0
    height = section.compared_db if section.check == "hiss" else _RANGE_DB - section.compared_db
    return min(max(height, 0.0), _RANGE_DB)


def section_map(sections: Sequence[Section]) -> Markup:
    """Sections of one check on one vehicle, left to right as they were marked: a bar's height and a letter each."""
    lines = [sections[start : start + _ABREAST] for start in range(0, len(sections), _ABREAST)]
    return Markup("").join(map(_line_of_map, lines))


def _line_of_map(sections: Sequence[Section]) -> Markup:
    words = ", ".join(f"section {section.number} {section.verdict}" for section in sections)
    width = _WIDTH * len(sections)
    parts = [
        f'<svg class="sections" viewBox="0 0 {width} {_HEIGHT + 34}" width="{width}" role="img" '
        f'aria-label="{escape(words)}"><title>{escape(words)}</title>'
    ]
    for place, section in enumerate(sections):
        parts += _bar(section, place * _WIDTH)
    return Markup("".join([*parts, "</svg>"]))


def _bar(section: Section, x: int) -> list[str]:
    tall = _HEIGHT * height_db(section) / _RANGE_DB
    box = f'x="{x + 6}" width="{_WIDTH - 12}"'
    text = f'x="{x + _WIDTH / 2:.0f}" text-anchor="middle"'
    return [
        f'<rect {box} y="0" height="{_HEIGHT}" fill="none" stroke="#4a5766"/>',
        f'<rect class="v {SHADES[section.verdict]}" {box} y="{_HEIGHT - tall:.1f}" height="{tall:.1f}"/>',
        f'<text {text} y="{_HEIGHT + 15}" font-size="14">{LETTERS[section.verdict]}</text>',
        f'<text {text} y="{_HEIGHT + 30}" font-size="11">{section.number}</text>',
    ]
