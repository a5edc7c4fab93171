"""What the notes say of case and weather: fresh, and right where a published value or a hand computation says so."""

import math

import numpy as np
import pytest
from curbtick.yard.scenes.scenes import single_scene
from curbtick_probe import reason
from curbtick_wire import names

from hardware_notes.board import footprints, layout
from hardware_notes.case import dimensions as d
from hardware_notes.case.digest import FOLDER, digest
from hardware_notes.case.notes import page, sun
from hardware_notes.collar import felt, geometry, weather
from hardware_notes.frontend import levels
from tests.unit.probe.bumper.readingdata import Prober

PICTURES = FOLDER.parent / "pictures" / "case"


def test_page_is_fresh() -> None:
    assert page.PAGE.read_text() == page.page(), "run python -m hardware_notes.case.notes.page"


@pytest.mark.parametrize("path", sorted(PICTURES.glob("*.svg")), ids=lambda path: path.name)
def test_pictures_are_drawn_from_the_solids_as_they_are(path) -> None:
    assert f"<desc>{digest()}</desc>" in path.read_text(), "run python -m hardware_notes.case --pictures"


def test_there_are_pictures_and_the_digest_follows_the_dimensions(
    tmp_path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hardware_notes.case import digest as module

    before = digest()
    other = tmp_path / "dimensions.py"
    other.write_text((FOLDER / "dimensions.py").read_text().replace("GASKET = 1.0", "GASKET = 1.1"))
    monkeypatch.setattr(
        module, "SOURCES", tuple(other if p.name == other.name else p for p in module.SOURCES)
    )
    assert digest() != before
    assert len(list(PICTURES.glob("*.svg"))) >= 10


def test_collar_has_the_acoustics_dimensions() -> None:
    """In mm what geometry has in m: free way 50, plug behind it, gap of 1 to the microphone."""
    assert pytest.approx(1000 * geometry.LENGTH_M) == d.PLUG_FRONT_Z
    assert pytest.approx(1000 * (geometry.LENGTH_M + geometry.PLUG_M + geometry.GAP_M)) == d.END_Z
    assert pytest.approx(1000 * geometry.LINING_M) == d.TUBE_RADIUS - d.FREE_RADIUS


def test_buttons_are_for_gloves() -> None:
    """MIL-STD-1472E: 19 mm for a mitten (5.4.3.1.3.3), 13 mm between push buttons' edges (table VII)."""
    assert 2 * d.CAP_RADIUS >= 19.0
    assert 2 * d.BUTTON_X - 2 * d.CAP_RADIUS >= 13.0


def test_a_white_matt_surface_in_full_sun() -> None:
    """Lambert: 100,000 lx on a surface that throws back all give 31,831 cd/m2."""
    assert sun.thrown_back_cd_m2(100_000.0, 1.0) == pytest.approx(31_831.0, rel=1e-4)


def test_the_least_intensity_just_gives_the_contrast() -> None:
    for contrast, light_lx in ((3.0, sun.SUN_LX), (6.0, sun.SKY_LX)):
        assert sun.contrast(sun.intensity_least_cd(contrast, light_lx), light_lx) == pytest.approx(contrast)
    assert sun.contrast(sun.LED_ASKED_CD / 3, sun.SUN_LX) < sun.CONTRAST_SUN_LEAST


def test_a_hood_of_no_height_gives_hardly_any_shade(monkeypatch: pytest.MonkeyPatch) -> None:
    assert sun.shade().from_nose_deg > 60.0
    monkeypatch.setattr(d, "HOOD_HIGH", 0.0)
    assert sun.shade().from_nose_deg < 20.0


def test_the_controller_lies_where_the_layout_has_it() -> None:
    """By hand: hole 24 lies 5.79 mm from the board's edge, pads 1 and 40 lie 1.37 mm from the controller's."""
    assert layout.load().spots["U1"].hole == footprints.CONTROLLER_HOLE
    assert pytest.approx(5.79 - 1.37) == d.CONTROLLER_INSET
    assert pytest.approx(3.41 + 11.5 * 2.54) == d.CONTROLLER_MIDDLE_Z


def test_the_cable_s_plug_passes_slot_and_notch() -> None:
    """The notch stays clear of the two rows of pads (rings of 2 mm)."""
    assert min(d.USB_PORT_WIDE, d.NOTCH_WIDE) >= d.PLUG_WIDE + 1.0
    assert d.USB_PORT_BELOW >= d.PLUG_HIGH / 2 and d.INNER_Y - d.USB_Y >= d.PLUG_HIGH / 2
    assert footprints.CONTROLLER_ROWS * d.HOLE_PITCH - d.NOTCH_WIDE >= 2.0


def test_dry_and_clean_felt_loses_nothing_more() -> None:
    assert weather.wet_factor(0.0) == 1.0
    assert weather.dusty_factor(0.0) == pytest.approx(1.0)
    assert weather.more_loss_db(1.0, 48e3) == pytest.approx(0.0)
    assert weather.film_loss_db(0.0, 48e3) == pytest.approx(0.0)


def test_half_full_pores_by_hand() -> None:
    """Corey at S = 0.5: 0.25 x 0.75, so the flow resistivity is 5.33 times its own."""
    assert weather.wet_factor(0.5) == pytest.approx(16 / 3)


def test_a_thin_film_follows_the_mass_law() -> None:
    """Fahy's mass law for normal incidence, 10 log10(1 + (omega m / (2 rho c))^2): 10 um of water at 40 kHz."""
    per_area = 10e-6 * weather.WATER_KG_PER_M3
    ratio = 2 * math.pi * 40e3 * per_area / (2 * geometry.AIR_KG_PER_M3 * geometry.SOUND_M_PER_S)
    assert weather.film_loss_db(10e-6, 40e3) == pytest.approx(10 * math.log10(1 + ratio**2), abs=0.05)


def test_loss_grows_with_water_and_with_frequency() -> None:
    shares = np.linspace(0.0, 0.6, 13)
    at_68 = [weather.more_loss_db(weather.wet_factor(s), 68e3) for s in shares]
    assert np.all(np.diff(at_68) > 0)
    assert weather.more_loss_db(2.0, 68e3) > weather.more_loss_db(2.0, 40e3)


def test_loss_of_dense_felt_is_near_its_own_attenuation() -> None:
    """Far from the ends a denser plug loses what its decibels per metre say, times its length, within 1 dB."""
    one = np.array([48e3])
    denser = felt.decibels_per_metre(one, 3 * geometry.FELT_RESISTIVITY)[0]
    as_is = felt.decibels_per_metre(one, geometry.FELT_RESISTIVITY)[0]
    expected_db = (denser - as_is) * geometry.PLUG_M
    assert weather.more_loss_db(3.0, 48e3) == pytest.approx(expected_db, abs=2.0)


def test_the_water_that_makes_weak_is_found_back() -> None:
    share = weather.saturation_for(9.0, 58e3)
    assert weather.more_loss_db(weather.wet_factor(share), 58e3) == pytest.approx(9.0, abs=1e-3)


def test_a_wet_plug_turns_pass_into_weak_and_then_into_dead() -> None:
    text = page.page()
    row = next(line for line in text.splitlines() if "water in 60%" in line)
    assert "only a neighbour" in row and "PASS" not in row
    assert "PASS" in next(line for line in text.splitlines() if "water in 10%" in line)


@pytest.mark.parametrize("loss_db", [4.0, 14.0, 30.0, 37.0])
def test_the_probe_rules_on_a_wet_collar_as_the_page_says(loss_db: float) -> None:
    """The real firmware hears a sound sensor and its siblings, all lower by the same loss."""
    healthy_dbfs = levels.healthy_dbfs(48e3, share=0.5)
    scene = single_scene(48, level_dbfs=healthy_dbfs - loss_db, sibling_dbfs=-50.0 - loss_db)
    with Prober() as prober:
        values = prober.take(scene.ear, 48).values
    only_neighbour = bool(values["reasons"] & reason.ONLY_NEIGHBOUR)
    said = "only a neighbour" if only_neighbour else names.VERDICTS[values["verdict"]].upper()
    assert page.reads(loss_db, 48e3) == said
