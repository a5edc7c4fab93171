"""Run the netlist in ngspice: response, noise and overload."""

import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from curbtick.hardware.nets import INSTANCES, Instance
from curbtick.hardware.values import OUTPUTS, nominal

from hardware_notes.frontend.netlist import MICROPHONE_REST_V, Supply, netlist
from tests.programs import NGSPICE

Reals = npt.NDArray[np.floating[Any]]
Complex = npt.NDArray[np.complexfloating[Any, Any]]


RECORDED = Path(__file__).with_name("ngspice.txt")


class NgspiceMissing(RuntimeError):
    """ngspice is not on this computer."""


@dataclass(frozen=True)
class Overload:
    """A burst through the railed circuit: time in s, the voltage at each pin from ground, and where each rests."""

    time_s: Reals
    pins: dict[str, Reals]
    rest_v: dict[str, float]

    def swing(self, pin: str) -> Reals:
        """The voltage at a pin from where it rests."""
        return self.pins[pin] - self.rest_v[pin]


def find() -> Path | None:
    """The ngspice program, found as tests find every program from outside; None without."""
    return NGSPICE.find()


def _run(text: str, result: str) -> Reals:
    program = find()
    if program is None:
        raise NgspiceMissing(NGSPICE.how)
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "circuit.cir"
        source.write_text(text)
        done = subprocess.run(
            [program, "-b", source.name], cwd=folder, capture_output=True, text=True, timeout=120, check=False
        )
        output = Path(folder) / result
        if not output.exists():
            raise RuntimeError(f"ngspice failed:\n{done.stdout}\n{done.stderr}")
        rows: Reals = np.loadtxt(output)
    return rows


def responses(values: Mapping[str, float], low_hz: float, high_hz: float) -> tuple[Reals, dict[str, Complex]]:
    """AC response: (frequencies in Hz, complex gain of each output), 100 points a decade."""
    vectors = " ".join(f"v({pin})" for pin in OUTPUTS)
    control = f"ac dec 100 {low_hz:g} {high_hz:g}\nwrdata ac.txt {vectors}"
    rows = _run(netlist(values, control=control), "ac.txt")
    gains = {pin: rows[:, 3 * index + 1] + 1j * rows[:, 3 * index + 2] for index, pin in enumerate(OUTPUTS)}
    return rows[:, 0], gains


def noise(values: Mapping[str, float], pin: str, low_hz: float, high_hz: float) -> tuple[Reals, Reals]:
    """Noise density at an output in V/sqrt(Hz), the microphone itself silent: (frequencies in Hz, density)."""
    control = f"noise v({pin}) Vmic dec 100 {low_hz:g} {high_hz:g}\nsetplot noise1\nwrdata noise.txt onoise_spectrum"
    rows = _run(netlist(values, control=control), "noise.txt")
    return rows[:, 0], rows[:, 1]


def operating_point(
    names: Sequence[str],
    values: Mapping[str, float],
    supply: Supply | None = None,
    instances: tuple[Instance, ...] = INSTANCES,
    board_w: float = 0.1,
) -> dict[str, float]:
    """Where the railed circuit rests: vector (`v(bias)`, `i(vbt1)`) -> volts or amperes."""
    control = f"op\nwrdata op.txt {' '.join(names)}"
    text = netlist(values, control=control, railed=True, supply=supply, instances=instances, board_w=board_w)
    rows = np.atleast_2d(_run(text, "op.txt"))
    return {name: float(rows[0, 2 * index + 1]) for index, name in enumerate(names)}


def burst(
    values: Mapping[str, float], peak_v: float, frequency_hz: float, length_s: float, end_s: float
) -> Overload:
    """A tone burst at the microphone from time 0, through amplifiers that stop at their rails."""
    vectors = " ".join(f"v({pin})" for pin in OUTPUTS)
    tone = f"{peak_v:g}*sin(2*3.14159265358979*{frequency_hz:g}*time)*u({length_s:g}-time)"
    source = f"Bmic source 0 V={MICROPHONE_REST_V}+{tone}"
    control = f"tran 0.2u {end_s:g} 0 0.2u\nlinearize {vectors}\nwrdata tran.txt {vectors}"
    rows = _run(netlist(values, source, control, railed=True), "tran.txt")
    pins = {pin: rows[:, 2 * index + 1] for index, pin in enumerate(OUTPUTS)}
    return Overload(rows[:, 0], pins, {pin: float(volts[0]) for pin, volts in pins.items()})


def record() -> None:
    """Write the nominal response that ngspice gives, for computers without it."""
    frequency_hz, gains = responses(nominal(), 5_000.0, 200_000.0)
    columns = [frequency_hz, *(20.0 * np.log10(np.abs(gains[pin])) for pin in OUTPUTS)]
    header = "frequency in Hz, then gain in dB: " + ", ".join(OUTPUTS)
    np.savetxt(RECORDED, np.column_stack(columns)[::4], fmt="%.4f", header=header)


def recorded() -> tuple[Reals, dict[str, Reals]]:
    """The recorded response: (frequencies in Hz, gain in dB of each output)."""
    rows = np.loadtxt(RECORDED)
    return rows[:, 0], {pin: rows[:, index + 1] for index, pin in enumerate(OUTPUTS)}
