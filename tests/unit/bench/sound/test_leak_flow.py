"""Flow through a hole: shape of the formula. Published figures stand in tests/published/test_leaks.py."""

import math

import pytest
from curbtick.air import REFERENCE_PA
from curbtick.sound import leak_flow
from curbtick.sound.leak_flow import Hole
from hypothesis import given
from hypothesis import strategies as st

PRESSURES = st.floats(1.0, 5e6)


@given(PRESSURES, st.floats(1e-6, 1e-2))
def test_flow_grows_with_area_and_pressure(gauge_pa: float, diameter_m: float) -> None:
    flow = leak_flow.mass_flow_kg_s(Hole(diameter_m), gauge_pa)
    assert leak_flow.mass_flow_kg_s(Hole(2 * diameter_m), gauge_pa) == pytest.approx(4 * flow)
    assert leak_flow.mass_flow_kg_s(Hole(diameter_m), 1.1 * gauge_pa) > flow > 0


@given(st.floats(1e5, 5e6))
def test_choked_flow_is_proportional_to_absolute_pressure(gauge_pa: float) -> None:
    """A p C with C = sqrt(gamma / (R T)) (2 / (gamma + 1)) ** 3: 0.0404 / sqrt(T) for air, the handbook constant."""
    hole = Hole(1e-3, 1.0)
    flow = leak_flow.mass_flow_kg_s(hole, gauge_pa)
    absolute_pa = gauge_pa + REFERENCE_PA
    assert leak_flow.is_choked(gauge_pa)
    assert flow == pytest.approx(0.04042 * hole.area_m2 * absolute_pa / math.sqrt(293.15), rel=1e-3)


def test_flow_is_continuous_where_it_begins_to_choke() -> None:
    edge_pa = REFERENCE_PA * (1 / leak_flow.CRITICAL_RATIO - 1)
    below, above = (leak_flow.mass_flow_kg_s(Hole(1e-3), edge_pa * factor) for factor in (0.9999, 1.0001))
    assert below == pytest.approx(above, rel=1e-3)
    assert not leak_flow.is_choked(0.99 * edge_pa) and leak_flow.is_choked(1.01 * edge_pa)


def test_no_pressure_no_flow() -> None:
    assert leak_flow.mass_flow_kg_s(Hole(1e-3), 0.0) == 0.0
    with pytest.raises(ValueError, match="gauge"):
        leak_flow.mass_flow_kg_s(Hole(1e-3), -1.0)


@given(st.floats(1e-9, 1.0), PRESSURES)
def test_the_hole_of_a_flow_gives_that_flow(molar_mol_s: float, gauge_pa: float) -> None:
    hole = leak_flow.hole_of_flow(molar_mol_s, gauge_pa)
    again = leak_flow.molar_flow_mol_s(leak_flow.mass_flow_kg_s(hole, gauge_pa))
    assert again == pytest.approx(molar_mol_s)


def test_litres_and_cubic_feet_are_the_same_air() -> None:
    assert leak_flow.free_air_l_min(0.01) / leak_flow.free_air_cfm(0.01) == pytest.approx(28.316847)
