"""The same front end as a SPICE netlist; `frontend.cir` in this folder is what write() makes of the nominal values.

Only the values are shared with the formulas: the topology is written out here by hand, node by node, and
ngspice solves it by itself. An operational amplifier is a transconductance into an RC, with its voltage
noise as the thermal noise of a resistor in its input. In an overload run it also stops at its supply rails.
"""

import math
from collections.abc import Mapping
from pathlib import Path

from hardware_notes.frontend import values as table

NETLIST = Path(__file__).with_name("frontend.cir")
BOLTZMANN = 1.380649e-23
TRANSCONDUCTANCE = 1e-3
RAIL_MARGIN_V = 0.02

SIGNAL_PATH = """
Rmic mic m0 {Rmic}
Cm m0 m1 {Cm}
Rm m1 0 {Rm}
Xm m1 m m opamp
Cl m a0 {Cl}
Ra1 a0 a {Ra1}
Ra2 a aout {Ra2}
Ra3 a an {Ra3}
Ca1 a 0 {Ca1}
Ca2 an aout {Ca2}
Xa1 0 an aout opamp
Rb1 aout b {Rb1}
Rb2 b bout {Rb2}
Rb3 b bn {Rb3}
Cb1 b 0 {Cb1}
Cb2 bn bout {Cb2}
Xa2 0 bn bout opamp
Rg1 gn gc {Rg1}
Cg1 gc 0 {Cg1}
Rf1 gn gout {Rf1}
Xb bout gn gout opamp
Ch m h0 {Ch}
Rh1 h0 hn {Rh1}
Rh2 hn hout {Rh2}
Xh1 0 hn hout opamp
Rc1 hout c {Rc1}
Rc2 c cout {Rc2}
Rc3 c cn {Rc3}
Cc1 c 0 {Cc1}
Cc2 cn cout {Cc2}
Xf1 0 cn cout opamp
Rd1 cout d {Rd1}
Rd2 d dout {Rd2}
Rd3 d dn {Rd3}
Cd1 d 0 {Cd1}
Cd2 dn dout {Cd2}
Xf2 0 dn dout opamp
Rg2 en ec {Rg2}
Cg2 ec 0 {Cg2}
Rf2 en eout {Rf2}
Xh2 dout en eout opamp
Ro1 bout padded {Rout}
Co1 padded 0 {Cout}
Ro2 gout low {Rout}
Co2 low 0 {Cout}
Ro3 eout high {Rout}
Co3 high 0 {Cout}
"""

LINEAR_OUTPUT = "Eo out 0 x 0 1"
# Past the rails a steep conductance holds the integrator, so that it recovers at once, as real parts nearly
# do.
RAILED_OUTPUT = """Bclamp x 0 I=u(v(x)-{rail})*(v(x)-{rail})*10+u(-{rail}-v(x))*(v(x)+{rail})*10
Bo out 0 V=max(min(v(x),{rail}),-{rail})"""

CLAMPS = """
D{pin}h {pin} railh clamp
D{pin}l raill {pin} clamp
"""


def opamp(gbw_hz: float, railed: bool) -> str:
    """The amplifier's subcircuit; voltages count from mid-scale."""
    rail_v = table.FULL_SCALE_PEAK_V - RAIL_MARGIN_V
    noise_ohm = table.OPAMP_NOISE_V_PER_RT_HZ**2 / (4 * BOLTZMANN * table.KELVIN)
    return "\n".join(
        [
            ".subckt opamp inp inn out",
            f"Rn inp ninp {noise_ohm:.6g}",
            f"Gm 0 x ninp inn {TRANSCONDUCTANCE:g}",
            f"Rp x 0 {table.OPAMP_DC_GAIN / TRANSCONDUCTANCE:g}",
            f"Cp x 0 {TRANSCONDUCTANCE / (2 * math.pi * gbw_hz):.9g}",
            RAILED_OUTPUT.format(rail=rail_v) if railed else LINEAR_OUTPUT,
            ".ends",
        ]
    )


def netlist(
    values: Mapping[str, float], source: str = "Vmic mic 0 dc 0 ac 1", control: str = "", railed: bool = False
) -> str:
    """The whole netlist; ground is the mid-scale bias. source drives node `mic`; control: ngspice commands."""
    written = {name: f"{value:.9g}" for name, value in values.items()}
    lines = [
        "* Front end of the probe, made from values.py",
        f".options temp={table.KELVIN - 273.15:.2f} tnom={table.KELVIN - 273.15:.2f}",
        source,
        SIGNAL_PATH.format(**written).strip(),
    ]
    if railed:
        lines += [f"Vh railh 0 {table.FULL_SCALE_PEAK_V}", f"Vl raill 0 -{table.FULL_SCALE_PEAK_V}"]
        lines += [CLAMPS.format(pin=pin).strip() for pin in table.OUTPUTS]
        lines.append(".model clamp D(is=1e-7 n=1.05 rs=5)")
    lines.append(opamp(values["GBW"], railed))
    if control:
        lines += [".control", control, ".endc"]
    return "\n".join([*lines, ".end", ""])


def write() -> None:
    """Write the nominal netlist beside this module."""
    NETLIST.write_text(netlist(table.nominal()))


if __name__ == "__main__":
    write()
