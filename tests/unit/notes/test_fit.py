"""The parts fit, and each check of it sees a planted misfit. Needs the libraries: see test_solids (CURBTICK_SOLIDS)."""

import pytest

from hardware_notes.case import dimensions as d
from hardware_notes.case.__main__ import HOW_TO_GET, missing

pytestmark = pytest.mark.skipif(bool(missing()), reason=HOW_TO_GET)


@pytest.fixture(scope="module")
def bodies():
    from hardware_notes.case import fit

    return fit.solids()


def test_nothing_stands_in_the_same_place(bodies) -> None:
    from hardware_notes.case import fit

    assert fit.clashes(bodies) == {}


def test_a_controller_that_is_too_high_is_seen(bodies) -> None:
    from build123d import Pos

    from hardware_notes.case import fit

    raised = {**bodies, "controller": [Pos(0, 8.0, 0) * bodies["controller"][0]]}
    assert list(fit.clashes(raised)) == ["lid and controller"]


def test_leds_that_are_too_wide_are_seen(bodies) -> None:
    from build123d import Pos

    from hardware_notes.case import fit

    least_mm = next(gap for one, other, gap, _ in fit.GAPS if (one, other) == ("LEDs", "lid"))
    moved = [Pos(0.3, 1.5, 0) * bodies["LEDs"][0]]
    assert fit.gap_mm(bodies["LEDs"], bodies["lid"]) >= least_mm > fit.gap_mm(moved, bodies["lid"])


def test_a_lug_that_is_too_wide_does_not_go_in(bodies, monkeypatch: pytest.MonkeyPatch) -> None:
    from hardware_notes.case import fit
    from hardware_notes.case.assembly import PRINTED, placed

    assert fit.way_clash_mm3(bodies["nose"][0]) == 0.0
    monkeypatch.setattr(d, "LUG_DEG", d.LUG_DEG + 6.0)
    wide = placed("nose", PRINTED["nose"].make())[0]
    monkeypatch.undo()
    assert fit.way_clash_mm3(wide) > 1.0


def test_only_a_turned_collar_holds(bodies) -> None:
    from hardware_notes.case import fit
    from hardware_notes.case.collar import collar

    nose = bodies["nose"][0]
    assert fit.holding_mm3(nose) > 10.0
    assert fit.overlap_mm3(fit.collar_at(collar(snap=False), fit.Turn(1.0, 0.0)), nose) == 0.0


def test_a_detent_that_does_not_bite_is_seen(bodies, monkeypatch: pytest.MonkeyPatch) -> None:
    from hardware_notes.case import fit

    nose = bodies["nose"][0]
    assert fit.detent_bite_mm3(nose) > 0.5
    assert fit.home_detent_mm3(nose) == 0.0
    monkeypatch.setattr(d, "DETENT_BITE", -0.1)
    assert fit.detent_bite_mm3(nose) == pytest.approx(0.0, abs=1e-6)


def test_the_microphone_stands_where_the_acoustics_put_it(bodies) -> None:
    """From the bumper: the free way, the plug, the gap, each as `collar.geometry` has it, in m."""
    from hardware_notes.collar import geometry

    port_mm = bodies["microphone board"][0].bounding_box().min.Z
    assert port_mm / 1000.0 == pytest.approx(geometry.LENGTH_M + geometry.PLUG_M + geometry.GAP_M)
    plug = bodies["felt plug"][0].bounding_box()
    ends_m = [plug.min.Z / 1000.0, plug.max.Z / 1000.0]
    assert ends_m == pytest.approx([0.050, 0.050 + geometry.PLUG_M])
