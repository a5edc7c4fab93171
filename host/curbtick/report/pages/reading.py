"""A reading's page: what the bench makes of the snippet, beside the probe's own numbers."""

import base64
import struct
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from curbtick.fleet.readings import Reading
from curbtick.report.drawings import svg
from curbtick.report.pages.frame import Frame
from curbtick.report.views.places import number, only_neighbour, reasons_in_words
from curbtick.sound.snippet import Snippet, centre_hz, envelope_db, spectrogram_db, spectrum_db

GRAM_RANGE_DB = 60.0
SHOWN_HZ = (0.0, 100_000.0)


def reading_page(frame: Frame, reading: Reading, shown: Mapping[str, Any], snippet: Snippet | None) -> str:
    """The page. shown: the reading's JSON object; snippet: None where the probe dropped it."""
    neighbour = only_neighbour(reading)
    return frame.render(
        "reading.html",
        [reading.probe_id],
        row=frame.row(reading),
        neighbour=neighbour,
        sounds=[{**sound, "kind": _whose(sound["kind"], neighbour)} for sound in shown["bursts"]],
        numbers=_numbers(reading, shown),
        remeasured=[] if snippet is None else remeasured(snippet),
        figures=[] if snippet is None else _figures(snippet),
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


def _figures(snippet: Snippet) -> list[dict[str, Markup | str]]:
    count = len(snippet.samples)
    peak = max(float(np.abs(snippet.samples).max(initial=1.0)), 1.0)
    ms = f"{count / snippet.rate_hz * 1000:.2f} ms"
    start = f"{snippet.start_us / 1000:.1f} ms into the reading"
    frequency_hz, level_db = spectrum_db(snippet)
    below = frequency_hz <= SHOWN_HZ[1]
    figures = [
        _figure(
            svg.trace(
                "Waveform of the strongest burst", list(snippet.samples), -peak, peak, (start, ms, "codes")
            ),
            "Waveform of the strongest burst",
        ),
        _figure(
            svg.trace(
                "Envelope of the strongest burst", list(envelope_db(snippet)), -60, 0, ("0", ms, "dBFS")
            ),
            "Its envelope over 30-80 kHz",
        ),
        _figure(
            svg.trace(
                "Spectrum of the strongest burst", list(level_db[below]), -80, 0, ("0 kHz", "100 kHz", "dBFS")
            ),
            "Its spectrum",
        ),
        _figure(
            spectrogram(snippet),
            f"Its spectrogram: 0 to 100 kHz upwards, {ms} across, 60 dB from light to dark",
        ),
    ]
    if len(snippet.envelope_db):
        whole = f"{len(snippet.envelope_db) * snippet.envelope_step_us / 1000:.0f} ms"
        figures.append(
            _figure(
                svg.trace(
                    "Envelope of the whole reading", list(snippet.envelope_db), -80, 0, ("0", whole, "dBFS")
                ),
                "Envelope of the whole reading, as the probe kept it",
            )
        )
    return figures


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
