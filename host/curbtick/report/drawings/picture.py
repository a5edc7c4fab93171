"""One reading as a picture: waveform, envelope, spectrum and spectrogram of its snippet, and the whole
reading's envelope.
"""

from pathlib import Path
from typing import Any

import numpy as np

from curbtick.errors import InputError
from curbtick.sound.snippet import Snippet, envelope_db, spectrogram_db, spectrum_db


def save(snippet: Snippet, title: str, path: Path) -> None:
    """Write the picture; the file's ending chooses the format (png, svg, pdf). Raises InputError."""
    # Drawing is asked for rarely, and loading the library takes longer than most commands.
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 10), layout="constrained")
    axes = figure.subplots(5, 1)
    figure.suptitle(title)
    _waveform(axes[0], snippet)
    _envelope(axes[1], snippet)
    _spectrum(axes[2], snippet)
    _spectrogram(axes[3], snippet)
    _whole(axes[4], snippet)
    try:
        figure.savefig(path, dpi=120)
    except (OSError, ValueError) as error:
        raise InputError(
            f"The picture {path} cannot be written: {error}.",
            "The history is unchanged.",
            "Name a file that ends in .png, .svg or .pdf, in a folder that exists.",
        ) from error


def _ms(snippet: Snippet) -> Any:
    return np.arange(len(snippet.samples)) / snippet.rate_hz * 1000


def _label(axes: Any, across: str, up: str) -> None:
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.grid(alpha=0.3)


def _waveform(axes: Any, snippet: Snippet) -> None:
    axes.plot(_ms(snippet), snippet.samples, linewidth=0.7)
    _label(axes, "ms from the burst's first sample", "codes")


def _envelope(axes: Any, snippet: Snippet) -> None:
    axes.plot(_ms(snippet), envelope_db(snippet))
    axes.set_ylim(-60, 3)
    _label(axes, "ms", "envelope 30-80 kHz, dBFS")


def _spectrum(axes: Any, snippet: Snippet) -> None:
    frequency_hz, level_db = spectrum_db(snippet)
    axes.plot(frequency_hz / 1000, level_db)
    axes.set_ylim(-90, 3)
    _label(axes, "kHz", "spectrum, dBFS")


def _spectrogram(axes: Any, snippet: Snippet) -> None:
    times_s, frequency_hz, levels = spectrogram_db(snippet)
    if levels.size:
        axes.pcolormesh(
            times_s * 1000, frequency_hz / 1000, levels, vmin=levels.max() - 60, shading="nearest"
        )
    axes.set_ylim(0, 100)
    _label(axes, "ms", "kHz")


def _whole(axes: Any, snippet: Snippet) -> None:
    axes.plot(np.arange(len(snippet.envelope_db)) * snippet.envelope_step_us / 1000, snippet.envelope_db)
    axes.set_ylim(-90, 3)
    _label(axes, "ms from the reading's first sample", "whole reading, dBFS")
