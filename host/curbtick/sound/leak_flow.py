"""Flow of air through a small hole under pressure: what a leak of that size may lose, as an order of magnitude.

A hiss check measures no flow; this is the reference beside it. Choked flow of an ideal gas: ISO 6358-1:2013 and any
text on gas dynamics (for instance Anderson, Modern Compressible Flow, chapter 5); free air is air at 20 degrees
Celsius and 101.325 kPa unless stated.
"""

import math
from dataclasses import dataclass

from curbtick.air import FREEZING_KELVIN, REFERENCE_KELVIN, REFERENCE_PA

GAMMA = 1.4
GAS_CONSTANT_J_KG_K = 287.05
MOLAR_MASS_KG_MOL = 0.0289647
PSI_PA = 6_894.757
CFM_M3_S = 0.028316847 / 60.0

# (2 / (gamma + 1)) ** (gamma / (gamma - 1)): below this ratio of outer to inner pressure the hole's throat is sonic.
CRITICAL_RATIO: float = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))

# ASTM E1002 classes of leaks to be found by ultrasound, as molar flow.
E1002_CLASS_MOL_S = {"I": 6.7e-7, "II": 6.7e-6}
# A standard cubic centimetre is one at 0 degrees Celsius and 101.325 kPa in that practice.
STANDARD_CM3_MOL = REFERENCE_PA * 1e-6 / (8.314462618 * FREEZING_KELVIN)


@dataclass(frozen=True)
class Hole:
    """A round hole: diameter in metres, and the share of its area that the jet fills (0..1; 0.65 for a sharp edge)."""

    diameter_m: float
    jet_share: float = 0.65

    @property
    def area_m2(self) -> float:
        """The area that counts."""
        return math.pi / 4.0 * self.diameter_m**2 * self.jet_share


def mass_flow_kg_s(
    hole: Hole, gauge_pa: float, kelvin: float = REFERENCE_KELVIN, outside_pa: float = REFERENCE_PA
) -> float:
    """Return the mass flow out of a vessel in kg/s.

    gauge_pa: pressure inside over outside, 0 or more, else ValueError. kelvin: temperature inside. Choked above 0.90
    bar over the atmosphere, then A p sqrt(gamma / (R T)) (2 / (gamma + 1))**((gamma + 1) / (2 (gamma - 1))); below it
    the isentropic flow to the outer pressure.
    """
    if gauge_pa < 0.0:
        raise ValueError("a gauge pressure of 0 or more")
    inside_pa = gauge_pa + outside_pa
    ratio = max(outside_pa / inside_pa, CRITICAL_RATIO)
    velocity = math.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * (1.0 - ratio ** ((GAMMA - 1.0) / GAMMA)))
    density: float = ratio ** (1.0 / GAMMA)
    return hole.area_m2 * inside_pa * density * velocity / math.sqrt(GAS_CONSTANT_J_KG_K * kelvin)


def is_choked(gauge_pa: float, outside_pa: float = REFERENCE_PA) -> bool:
    """Whether the flow out of a vessel is sonic at the hole."""
    return outside_pa / (gauge_pa + outside_pa) <= CRITICAL_RATIO


def free_air_m3_s(mass_kg_s: float, kelvin: float = REFERENCE_KELVIN) -> float:
    """Return the volume that a mass flow takes as free air."""
    return mass_kg_s * GAS_CONSTANT_J_KG_K * kelvin / REFERENCE_PA


def free_air_l_min(mass_kg_s: float) -> float:
    """Return a mass flow as litres of free air a minute."""
    return free_air_m3_s(mass_kg_s) * 60e3


def free_air_cfm(mass_kg_s: float, kelvin: float = REFERENCE_KELVIN) -> float:
    """Return a mass flow as cubic feet of free air a minute."""
    return free_air_m3_s(mass_kg_s, kelvin) / CFM_M3_S


def molar_flow_mol_s(mass_kg_s: float) -> float:
    """Return a mass flow as mol/s."""
    return mass_kg_s / MOLAR_MASS_KG_MOL


def standard_cm3_s(molar_mol_s: float) -> float:
    """Return a molar flow as standard cubic centimetres a second (0 degrees Celsius, 101.325 kPa)."""
    return molar_mol_s / STANDARD_CM3_MOL


def hole_of_flow(molar_mol_s: float, gauge_pa: float, jet_share: float = 0.65) -> Hole:
    """Return the hole through which so much leaves at a pressure above 0."""
    unit = molar_flow_mol_s(mass_flow_kg_s(Hole(1.0, jet_share), gauge_pa))
    return Hole(math.sqrt(molar_mol_s / unit), jet_share)
