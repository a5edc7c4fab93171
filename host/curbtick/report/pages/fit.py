"""The page of a fit: for each class the sensors' levels, the healthy centre, and the proposed limits on one
scale.
"""

from collections.abc import Sequence

from markupsafe import Markup

from curbtick.dates import date
from curbtick.limits.fit import HISTOGRAM_STEP_DB, ClassFit, Fit
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import ENVIRONMENT

WIDTH, HEIGHT = svg.WIDE, 160.0


def fit_page(fit: Fit, doubts: Sequence[str] = ()) -> str:
    """The whole page. doubts: sentences about probes whose readings are in it."""
    classes = [{"row": row, "drawing": drawing(row), "facts": _facts(row)} for row in fit.classes]
    return ENVIRONMENT.get_template("fit.html").render(
        risk=f"{fit.risk_share:g}", since=date(fit.since_ms), classes=classes, doubts=doubts
    )


def _x(level_db: float) -> float:
    return svg.scaled(level_db, WIDTH)


def drawing(row: ClassFit) -> Markup:
    """Histogram of the sensors' median levels with the limits as lines."""
    most = max((count for _, count in row.histogram), default=1)
    bars = "".join(
        f'<rect class="bar" x="{_x(edge):.1f}" y="{HEIGHT - count / most * 130:.1f}" '
        f'width="{_x(edge + HISTOGRAM_STEP_DB) - _x(edge):.1f}" height="{count / most * 130:.1f}"/>'
        for edge, count in row.histogram
        if count
    )
    lines = (
        _line(row.pass_db, "pass_db", "pass")
        + _line(row.dead_db, "dead_db", "dead")
        + _line(row.centre_db, "e", "centre")
        + _line(row.in_force_db, "k", "pass in force", 26)
    )
    ticks = "".join(
        f'<text class="d" x="{_x(level):.0f}" y="176">{level}</text>' for level in range(-60, 1, 10)
    )
    title = f"Median levels of {row.sensors} sensors of class {row.class_khz or 'custom'}"
    return Markup(
        f'<svg class="trace" viewBox="-20 -4 640 186" role="img" aria-label="{title}">'
        f'<rect class="frame" width="{WIDTH:.0f}" height="{HEIGHT:.0f}"/>{bars}{lines}{ticks}</svg>'
    )


def _line(level_db: float | None, style: str, words: str, y: float = 12) -> str:
    if level_db is None:
        return ""
    x = _x(level_db)
    text = f'<text class="t" x="{x + 4:.1f}" y="{y:g}">{words}</text>'
    return f'<path class="s {style}" d="M{x:.1f} 0V{HEIGHT:.0f}"/>{text}'


def _facts(row: ClassFit) -> Sequence[tuple[str, str]]:
    facts = [
        (
            "Sensors",
            f"{row.sensors}, {row.outliers} of them set aside as outliers, {row.above} above the centre; "
            f"{row.readings} readings",
        ),
        *_standing(row),
    ]
    if row.repeat is None or row.pass_db is None or row.dead_db is None or row.below_pass_interval is None:
        return facts
    repeat, (low, high) = row.repeat, row.below_pass_interval
    return [
        *facts,
        ("Taken for healthy", f"{row.centre_db:.2f} dBFS, spread {row.spread_db:.2f} dB"),
        (
            "One reading's uncertainty",
            f"{repeat.one_reading_db:.2f} dB: within {repeat.within_db:.2f} ({repeat.pairs} pairs), "
            f"technicians {repeat.technician_db:.2f} ({repeat.technicians}), "
            f"probes {repeat.probe_db:.2f} ({repeat.probes})",
        ),
        ("Pass from", f"{row.pass_db:.2f} dBFS: {row.tolerance_db:.2f} and the guard band{_so_far(row)}"),
        ("Dead below", f"{row.dead_db:.2f} dBFS"),
        (
            "Expected false fails",
            f"{100 * (row.false_fail_share or 0):.3f} % by the model; {row.below_pass} of the healthy sensors lie "
            f"below (95 % {100 * low:.1f} to {100 * high:.1f} %)",
        ),
    ]


def _standing(row: ClassFit) -> Sequence[tuple[str, str]]:
    if not row.standing:
        return []
    passing = row.standing - row.not_passing
    words = f"{passing} of {row.standing} that were judged at PASS, {row.not_passing} at WEAK or DEAD"
    return [("Stand", f"{words}; {row.would_pass} of these would PASS by the fitted limit")]


def _so_far(row: ClassFit) -> str:
    return "" if row.in_force_db is None else f"; {row.in_force_db:.2f} in force"
