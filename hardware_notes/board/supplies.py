"""How the circuit rests, by ngspice: on cells, on the cable, on both, on neither, with reversed cells."""

from dataclasses import dataclass

from curbtick.hardware import nets
from curbtick.hardware.nets import Instance
from curbtick.hardware.values import OUTPUTS, nominal

from hardware_notes.board import planted
from hardware_notes.frontend import spice
from hardware_notes.frontend.netlist import Supply

# Fresh NiMH cells give at most 1.45 V each; a cable brings 4.4 V at worst behind a poor hub (USB 2.0, section 7.2.2;
# from memory) and at most 5.25 V.
FRESH_V, EMPTY_V = 4.35, 3.3
CASES: dict[str, Supply] = {
    "cells": Supply(None, 3.75),
    "empty cells": Supply(None, EMPTY_V),
    "cable": Supply(5.0, None),
    "both": Supply(5.25, EMPTY_V),
    "poor cable, fresh cells": Supply(4.4, FRESH_V),
    "neither": Supply(None, None),
    "reversed cells": Supply(None, -FRESH_V),
    "reversed cells and cable": Supply(5.25, -FRESH_V),
}
_STAGE_OUTPUTS = ("m", "aout", "hout", "cout", "dout")


@dataclass(frozen=True)
class Rest:
    """How a case rests. vsys_v, rail_v: supply and 3.3 V; bias_v; outputs_v: every amplifier's and every pin's;
    cells_a: current into the cells, positive when it charges them; clamps_a: through each clamp's two diodes.
    """

    vsys_v: float
    rail_v: float
    bias_v: float
    outputs_v: dict[str, float]
    cells_a: float
    clamps_a: dict[str, float]


def rest(supply: Supply, instances: tuple[Instance, ...] = nets.INSTANCES) -> Rest:
    """Solve a case with ngspice."""
    outputs = [f"v({name})" for name in (*OUTPUTS, *_STAGE_OUTPUTS)]
    clamps = [f"@d{place}{side}[id]" for place in (1, 2, 3) for side in "lh"]
    cells = [] if supply.cells_v is None else ["i(vbt1)"]
    names = ["v(vsys)", "v(3v3)", "v(bias)", *outputs, *clamps, *cells]
    found = spice.operating_point(names, nominal(), supply, instances)
    return Rest(
        vsys_v=found["v(vsys)"],
        rail_v=found["v(3v3)"],
        bias_v=found["v(bias)"],
        outputs_v={name: found[name] for name in outputs},
        cells_a=found.get("i(vbt1)", 0.0),
        clamps_a={name: found[name] for name in clamps},
    )


def turned_round() -> Rest:
    """The mistake that ruins cells: the P-FET turned round, empty cells, the cable in."""
    return rest(CASES["both"], planted.swapped("Q1", "2", "3"))


def cable_on_an_output() -> Rest:
    """A fault: the low chain's amplifier is gone and the cable's 5 V is at its output."""
    wire = Instance("Rx9", "resistor", "Rs1", (("1", "VBUS"), ("2", "GOUT")), "power")
    return rest(Supply(5.25, None), (*planted.rewired("U2", "14", "GONE"), wire))
