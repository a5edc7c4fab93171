"""A reading's page: what the bench makes of the snippet, beside the probe's own numbers."""

import base64
import struct
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from curbtick.fleet.readings import Reading
from curbtick.fleet.work import past
from curbtick.report.drawings import svg
from curbtick.report.drawings.sounds import timeline
from curbtick.report.pages.frame import Frame
from curbtick.report.views.answer import Limits, answer
from curbtick.report.views.places import limits_db, number, only_neighbour, reasons_in_words
from curbtick.sound.snippet import Snippet, centre_hz, envelope_db, spectrogram_db, spectrum_db

GRAM_RANGE_DB = 60.0
SHOWN_HZ = (0.0, 100_000.0)
TIMELINE_WORDS = (
    "The sounds of the reading: filled circles are the held sensor, rings its siblings, crosses echoes, bars other "
    "sounds; the lines are the PASS limit and, dashed, the DEAD limit"
)


def reading_page(frame: Frame, reading: Reading, shown: Mapping[str, Any], snippet: Snippet | None) -> str:
    """The page. shown: the reading's JSON object; snippet: None where the probe dropped it."""
    neighbour = only_neighbour(reading)
    limits = past.limits_of(reading, frame.limit_sets)
    sounds = [{**sound, "kind": _whose(sound["kind"], neighbour)} for sound in shown["bursts"]]
    return frame.render(
        "reading.html",
        [reading.probe_id],
        row=frame.row(reading),
        badge_=svg.badge(reading.verdict),
        answer=answer(reading, reading.verdict, tuple(reading.reasons), limits),
        sounds=sounds,
        has_snippet=snippet is not None,
        numbers=_numbers(reading, shown),
        remeasured=[] if snippet is None else remeasured(snippet),
        figures=_figures(snippet, sounds, limits),
    )


def _whose(kind: str, neighbour: bool) -> str:
    """Whose sound it is. The probe calls the train that it measured `held`, also where it is a neighbour's."""
    return "neighbour" if neighbour and kind == "held" else kind


def _numbers(reading: Reading, shown: Mapping[str, Any]) -> list[tuple[str, str]]:
    values = reading.values
    return [
        ("Verdict", svg.WORDS[shown["verdict"]]),
        ("Why", reasons_in_words(shown["reasons"]) or "-"),
        ("Class", f"{shown['class_khz']} kHz" if shown["class_khz"] else "custom"),
        *_of_train(reading, shown),
        ("Noise", f"{number(shown['noise_db'], 1) or '-'} dBFS"),
        ("Press to verdict", f"{shown['time_to_verdict_ms'] or '-'} ms"),
        ("Limits", f"revision {shown['limits_revision']}"),
        ("Time", _time_words(shown)),
        ("Battery", f"{values['battery_mv']} mV"),
        ("Temperature", f"{number(values['temperature_ddeg'], 1, 10) or '-'} °C"),
    ]


def _of_train(reading: Reading, shown: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What the probe measured of the loudest train, named as the neighbour's where nothing else was heard."""
    values = reading.values
    measured = [
        ("Level", f"{number(shown['level_db'], 2) or '-'} dBFS"),
        ("Frequency", f"{number(shown['frequency_hz'], 3, 1000) or '-'} kHz"),
        ("Sweep", f"{number(shown['sweep_hz'], 0) or '-'} Hz"),
        ("Interval", f"{number(shown['interval_ms'], 2) or '-'} ms"),
        ("Burst length", f"{number(shown['burst_ms'], 2) or '-'} ms"),
        ("Ring-down", f"{number(shown['ringdown_ms'], 2) or '-'} ms"),
        ("Bursts heard of those due", f"{values['burst_count']} of {values['due_count']}"),
    ]
    if not only_neighbour(reading):
        return measured
    return [(f"Neighbour's {name[0].lower()}{name[1:]}", value) for name, value in measured]


def _time_words(shown: Mapping[str, Any]) -> str:
    if shown["time_ms"] is None:
        return f"not known: start {shown['boot']} of the probe never met a bench"
    uncertainty_ms = max(shown["time_uncertainty_ms"], 1)
    return (
        f"within ±{uncertainty_ms} ms" if uncertainty_ms < 1000 else f"within ±{uncertainty_ms / 1000:.1f} s"
    )


def remeasured(snippet: Snippet) -> list[tuple[str, str]]:
    """Level and frequency that the bench finds in the snippet, with the snippet's precision."""
    envelope = envelope_db(snippet)
    if not len(envelope):
        return []
    precision_db = 20 * np.log10(1 + snippet.step_codes / 2 / max(float(np.abs(snippet.samples).max()), 1.0))
    return [
        (
            "Level of this burst",
            f"{envelope.max():.2f} dBFS, ±{max(precision_db, 0.05):.2f} dB by the cut to 8 bits",
        ),
        ("Spectral centre", f"{centre_hz(snippet) / 1000:.3f} kHz"),
        ("Sample rate", f"{snippet.rate_hz / 1000:g} kS/s, {len(snippet.samples)} samples"),
    ]


def _figures(
    snippet: Snippet | None, sounds: Sequence[Mapping[str, Any]], limits: Limits | None
) -> list[dict[str, Markup | str]]:
    """The reading as a whole, then its strongest burst; the limits are drawn where they are levels or frequencies."""
    level_limits = limits_db(limits)
    figures = []
    if sounds:
        figures.append(_figure(timeline(sounds, *level_limits), TIMELINE_WORDS))
    if snippet is None:
        return figures
    named = level_limits._asdict().items()
    rules = [svg.Rule(limit, name) for name, limit in named if limit is not None]
    return [*figures, *_of_burst(snippet, rules, limits), *_of_whole(snippet, rules)]


def _of_burst(
    snippet: Snippet, rules: Sequence[svg.Rule], limits: Limits | None
) -> list[dict[str, Markup | str]]:
    peak = max(float(np.abs(snippet.samples).max(initial=1.0)), 1.0)
    ms = f"{len(snippet.samples) / snippet.rate_hz * 1000:.2f} ms"
    start = f"{snippet.start_us / 1000:.1f} ms into the reading"
    frequency_hz, level_db = spectrum_db(snippet)
    spectrum = list(level_db[frequency_hz <= SHOWN_HZ[1]])
    envelope = list(envelope_db(snippet))
    drawings = (
        (
            svg.trace("Envelope of the strongest burst", envelope, -60, 0, ("0", ms, "dBFS"), rules),
            "Envelope of the strongest burst over 30-80 kHz; the lines are the PASS limit and, dashed, the DEAD limit",
        ),
        (
            svg.trace(
                "Spectrum of the strongest burst",
                spectrum,
                -80,
                0,
                ("0 kHz", "100 kHz", "dBFS"),
                (),
                _window(limits),
            ),
            "Its spectrum; shaded: the frequencies of its class",
        ),
        (
            svg.trace(
                "Waveform of the strongest burst", list(snippet.samples), -peak, peak, (start, ms, "codes")
            ),
            "Its waveform",
        ),
        (
            spectrogram(snippet),
            f"Its spectrogram: 0 to 100 kHz upwards, {ms} across, 60 dB from light to dark",
        ),
    )
    return [_figure(*drawing) for drawing in drawings]


def _window(limits: Limits | None) -> tuple[float, float] | None:
    """Where the class's frequencies lie, as shares of the spectrum's width."""
    if limits is None:
        return None
    low_hz, high_hz = limits["centre_hz"] - limits["window_hz"], limits["centre_hz"] + limits["window_hz"]
    return low_hz / SHOWN_HZ[1], high_hz / SHOWN_HZ[1]


def _of_whole(snippet: Snippet, rules: Sequence[svg.Rule]) -> list[dict[str, Markup | str]]:
    if not len(snippet.envelope_db):
        return []
    whole = f"{len(snippet.envelope_db) * snippet.envelope_step_us / 1000:.0f} ms"
    levels = list(snippet.envelope_db)
    drawing = svg.trace("Envelope of the whole reading", levels, -80, 0, ("0", whole, "dBFS"), rules)
    return [_figure(drawing, "Envelope of the whole reading, as the probe kept it")]


def _figure(drawing: Markup, words: str) -> dict[str, Markup | str]:
    return {"drawing": drawing, "words": words}


def spectrogram(snippet: Snippet) -> Markup:
    """The spectrogram as a picture within the page."""
    _, frequency_hz, levels = spectrogram_db(snippet)
    if not levels.size:
        return Markup("<p>The snippet is too short for a spectrogram.</p>")
    shown = levels[frequency_hz <= SHOWN_HZ[1]][::-1]
    dark = np.clip((shown - shown.max() + GRAM_RANGE_DB) / GRAM_RANGE_DB, 0, 1)
    data = base64.b64encode(grey_png((255 - 235 * dark).astype(np.uint8))).decode()
    return Markup(
        f'<img class="gram" alt="Spectrogram of the strongest burst" src="data:image/png;base64,{data}">'
    )


def grey_png(pixels: NDArray[np.uint8]) -> bytes:
    """An 8-bit grey picture (rows x columns) as PNG (ISO/IEC 15948), each row unfiltered."""
    height, width = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(name, body) for name, body in chunks)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
