"""The pictures of the notes, drawn from the same run that checks the numbers."""

from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from curbtick.hardware import converter, microphones, noise, rails, response
from curbtick.hardware.values import OUTPUTS, nominal, unplugged
from curbtick_wire.sampling import RATE_HZ
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from hardware_notes.collar import aim, felt, geometry
from hardware_notes.frontend import spice, tolerance

FOLDER = Path(__file__).resolve().parents[1] / "pictures"
STYLE: dict[Any, Any] = {"svg.hashsalt": "curbtick", "font.size": 9.0, "axes.grid": True, "grid.alpha": 0.35}


def _save(figure: Figure, path: Path) -> None:
    figure.savefig(path, metadata={"Date": None}, bbox_inches="tight")


def _axes(x_label: str, y_label: str) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(6.4, 3.8))
    axes = figure.add_subplot()
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    return figure, axes


def response_picture(path: Path) -> None:
    """Formula as lines, ngspice as dots, for the three outputs."""
    figure, axes = _axes("frequency / kHz", "gain / dB")
    frequency_hz, simulated = spice.responses(nominal(), 500.0, 400_000.0)
    computed = response.responses(nominal(), frequency_hz)
    for pin in OUTPUTS:
        axes.semilogx(frequency_hz / 1e3, response.decibels(computed[pin]), label=f"{pin}, formula")
        axes.semilogx(frequency_hz[::12] / 1e3, response.decibels(simulated[pin])[::12], "k.", markersize=4)
    axes.plot([], [], "k.", label="ngspice")
    axes.axvspan(30, 80, alpha=0.1)
    axes.legend()
    _save(figure, path)


def tolerance_picture(path: Path, seed: int) -> None:
    """The low output of 200 drawn front ends, around the nominal one."""
    figure, axes = _axes("frequency / kHz", "low output over nominal / dB")
    frequency_hz = np.linspace(10_000.0, 110_000.0, 300)
    middle = response.decibels(response.responses(nominal(), frequency_hz)["low"])
    for values in tolerance.draw(200, seed):
        drawn = response.decibels(response.responses(values, frequency_hz)["low"])
        axes.plot(frequency_hz / 1e3, drawn - middle, color="tab:blue", alpha=0.12, linewidth=0.7)
    axes.set_ylim(-3, 3)
    _save(figure, path)


def noise_picture(path: Path) -> None:
    """Noise density at the high output: live, without a microphone, and the ADC's."""
    figure, axes = _axes("frequency / kHz", "noise at the high output / nV per root Hz")
    frequency_hz = np.geomspace(5_000.0, RATE_HZ / 2, 400)
    live = noise.high_density(nominal(), frequency_hz, noise.microphone_density())
    open_input = noise.high_density(unplugged(nominal()), frequency_hz)
    axes.loglog(frequency_hz / 1e3, 1e9 * np.sqrt(live), label="with the microphone")
    axes.loglog(frequency_hz / 1e3, 1e9 * np.sqrt(open_input), label="microphone unplugged")
    for chip, bits in converter.EFFECTIVE_BITS.items():
        rms_v = rails.rails().full_scale_peak_v / 2**0.5 * 10.0 ** (-converter.sine_to_noise_db(bits) / 20.0)
        axes.axhline(1e9 * rms_v / (RATE_HZ / 2) ** 0.5, linestyle="--", label=f"{chip} ADC, {bits} bits")
    axes.legend()
    _save(figure, path)


def collar_picture(path: Path) -> None:
    """What distance, sideways offset and tilt cost, per class."""
    figure = Figure(figsize=(9.6, 3.4))
    distance, offset, tilt = figure.subplots(1, 3, sharey=True)
    distance_m = np.linspace(0.035, 0.080, 100)
    distance.plot(distance_m * 1e3, aim.spreading_db(distance_m))
    offset_m = np.linspace(0.0, 0.020, 100)
    angle = np.radians(np.linspace(0.0, 20.0, 100))
    for hz in microphones.CLASSES_HZ:
        offset.plot(offset_m * 1e3, aim.offset_db(offset_m, hz), label=f"{hz / 1e3:.0f} kHz")
        tilt.plot(np.degrees(angle), aim.directivity_db(angle, hz))
    for axes, label in (
        (distance, "distance / mm"),
        (offset, "beside the centre / mm"),
        (tilt, "tilt / degrees"),
    ):
        axes.set_xlabel(label)
        axes.set_ylim(-9, 4)
    distance.set_ylabel("level / dB")
    offset.legend()
    _save(figure, path)


def attenuator_picture(path: Path) -> None:
    """The felt plug's attenuation, with its material's tolerance."""
    figure, axes = _axes("frequency / kHz", "attenuation / dB")
    for factor, style in (
        (1.0 - geometry.FELT_TOLERANCE, ":"),
        (1.0, "-"),
        (1.0 + geometry.FELT_TOLERANCE, ":"),
    ):
        resistivity = geometry.FELT_RESISTIVITY * factor
        top_hz = min(80_000.0, resistivity / geometry.AIR_KG_PER_M3 * felt.RANGE[1])
        frequency_hz = np.linspace(20_000.0, top_hz, 200)
        axes.plot(
            frequency_hz / 1e3,
            felt.attenuation_db(frequency_hz, resistivity=resistivity),
            style,
            color="tab:blue",
        )
    _save(figure, path)


def write_all(folder: Path, seed: int) -> None:
    """Write every picture into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    with matplotlib.rc_context(STYLE):
        response_picture(folder / "response.svg")
        tolerance_picture(folder / "tolerance.svg", seed)
        noise_picture(folder / "noise.svg")
        collar_picture(folder / "collar.svg")
        attenuator_picture(folder / "attenuator.svg")
