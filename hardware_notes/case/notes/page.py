"""The page about case and weather: `python -m hardware_notes.case.notes.page` writes case.md; a test fails when it is "
"stale."""

from pathlib import Path

from curbtick.hardware import microphones
from curbtick_wire import classes

from hardware_notes.case import dimensions as d
from hardware_notes.case.notes import sun
from hardware_notes.collar import weather
from hardware_notes.frontend import levels

PAGE = Path(__file__).resolve().parents[2] / "case.md"
LIMITS = {float(row["centre_hz"]): row for row in classes.factory_classes()}


def margin_db(limit: str, class_hz: float) -> float:
    """How far a middling sound sensor of a class reads above its limit (`pass_cdb`, `dead_cdb`, `neighbour_cdb`)."""
    return levels.healthy_dbfs(class_hz, share=0.5) - LIMITS[class_hz][limit] / 100.0


def reads(loss_db: float, class_hz: float) -> str:
    """What a middling sound sensor of a class comes out as when its level falls by so many dB.

    A plug dulls the siblings as well. Below the DEAD limit nothing proves then that the system transmits: RETRY.
    """
    if loss_db <= margin_db("pass_cdb", class_hz):
        return "PASS"
    if loss_db <= margin_db("dead_cdb", class_hz):
        return "WEAK"
    return "RETRY" if loss_db < margin_db("neighbour_cdb", class_hz) else "only a neighbour"


def _losses() -> str:
    head = (
        "| state of the plug | " + " | ".join(f"{hz / 1e3:.0f} kHz" for hz in microphones.CLASSES_HZ) + " |\n"
    )
    rows = [
        f"| {loss.what} | "
        + " | ".join(
            f"{db:.1f} dB, {reads(db, hz)}"
            for db, hz in zip(loss.loss_db, microphones.CLASSES_HZ, strict=True)
        )
        + " |"
        for loss in weather.losses()
    ]
    return head + "|---" * (len(microphones.CLASSES_HZ) + 1) + "|\n" + "\n".join(rows) + "\n"


def _water() -> str:
    hz = microphones.CLASSES_HZ[-1]
    shares = [weather.saturation_for(margin_db(limit, hz), hz) for limit in ("pass_cdb", "dead_cdb")]
    weak_g, dead_g = (weather.water_g(share) for share in shares)
    return (
        f"At 68 kHz, the worst class, a sound sensor reads WEAK from {weak_g:.1f} g of water in the plug "
        f"on, and below the dead limit from {dead_g:.1f} g on; the plug's pores hold "
        f"{weather.water_g(1.0):.0f} g. Dust in 3 % of them is {weather.dust_g(0.03):.1f} g."
    )


def _signs() -> str:
    return "| sign | what to do |\n|---|---|\n" + "".join(f"| {sign} | {deed} |\n" for sign, deed in SIGNS)


def _bar() -> str:
    shade = sun.shade()
    return (
        f"Black hood of {d.HOOD_HIGH:g} mm on three sides, open towards the technician, and a clear strip "
        f"{d.WINDOW_THICK:g} mm thick. The hood keeps the sun off the LEDs while it stands before the nose "
        f"lower than {shade.from_nose_deg:.0f} degrees, or to the side lower than "
        f"{shade.from_side_deg:.0f}; from behind the technician's own head shades. An LED must send "
        f"{sun.LED_ASKED_CD * 1000:.0f} mcd towards the eye at the bar's current: lit against unlit that is "
        f"{sun.contrast(sun.LED_ASKED_CD, sun.SKY_LX):.0f}:1 in the hood's shade (at least "
        f"{sun.CONTRAST_SHADE_LEAST:g}:1 is asked, NUREG-0700) and "
        f"{sun.contrast(sun.LED_ASKED_CD, sun.SUN_LX):.1f}:1 with the sun straight on it (at least "
        f"{sun.CONTRAST_SUN_LEAST:g}:1, WCAG 2.2). A red or amber LED of 2 cd at 20 mA and 30 degrees gives "
        "it at 2.1 mA (from memory); the parts list asks for one."
    )


def _dimensions() -> str:
    return (
        f"{d.REAR_Z:.0f} mm long with the collar, {d.OUTER_X:.0f} mm wide, {d.TOP_Y + d.FLOOR:.0f} mm high, "
        f"the collar {2 * d.RIM_OUTER_RADIUS:.0f} mm across. Two perfboards of {d.BOARD_Z:g} x "
        f"{d.BOARD_X:g} mm lie over each other, the front end below; the controller ({d.CONTROLLER_LONG:g} "
        f"x {d.CONTROLLER_WIDE:g} mm by its data sheet) above."
    )


SIGNS = (
    (
        "the first positions of a vehicle are all WEAK, `low_level`, or lower at 68 kHz than at 40",
        "put the dry collar on, read again; hold READ reads the last position again",
    ),
    (
        "DEAD on a vehicle whose driver sees no fault",
        "the same, before anything is replaced",
    ),
    (
        "the collar weighs 1 g more than the weight written in it",
        "it is wet, or full of dust: not to be used",
    ),
    (
        "the bench says that the probe has drifted against its reference sensor",
        "clean or renew the plug, calibrate",
    ),
    (
        "after rain, a car wash, a fall into the dirt",
        "read the reference sensor before the next vehicle",
    ),
)

TEXT = """# Case and collar as solids

Made by `python -m hardware_notes.case.notes.page`. Dimensions stand once, in [dimensions.py](case/dimensions.py); the
collar's come from [geometry.py](collar/geometry.py), where the acoustics are computed.

```sh
pip install '.[solids]'
python -m hardware_notes.case --out parts      # an STL and a STEP file of each part
python -m hardware_notes.case --pictures       # draw these pictures again
python -m tests.bench.solids                   # check them, each figure beside its bound
```

![The probe from behind](pictures/case/whole.svg)

{dimensions}

![Section along the middle](pictures/case/section_long.svg)

## What a program checks

Every STL is read back from its file: closed, faces outwards, one piece, no face steeper than {overhang:g} degrees
off the bed (so no support), no wall below {wall:.1f} mm (three lines of a {nozzle:g} mm nozzle), no longer than a
bed of 200 mm, as large as the solid. Then the parts together, with boards, cells, buttons and plug put in as
bodies: nothing in the same place, gaps as [fit.py](case/fit.py) lists them, and the collar moved along its whole
way on: it goes on, turns home, and is held. Each check is shown to see a planted fault. No part has been printed
yet.

## Bayonet, not magnets

The seat sets the distance, and a millimetre is 0.17 dB, so what holds the collar must not lie in the seat.
Magnets pull brake dust and steel chips exactly there, let go when the probe is knocked, and can be glued in the
wrong way round. The bayonet needs no part, stands behind the seat and not in it, shows when it is not home, and
snaps over a bump. Its lugs and grooves slope by 42 degrees: they print without support, and pulling wedges the
collar tight. It wears; then a new collar is printed. The nose's ring presses the felt plug a little, which takes
the play out of it.

![Section through the bayonet](pictures/case/section_bayonet.svg)

## Hands and eyes

Sealed buttons under caps of {cap:g} mm, {between:g} mm between their edges (a glove's finger asks for {glove:g}
mm and {glove_between:g} mm, MIL-STD-1472E), each in a ring that keeps a glove from pressing it by the way. A
ridge on the nose's side of READ tells the two apart by touch, a ridge before the bar where rear ends and front
begins.

{bar}

## Cells and water

The cell bay is closed off by a wall; the door is a plate on a foam seal, with two captive screws that a coin
turns, so that no latch breaks in the cold. Lid and door lie on closed-cell foam, the window and the wires through
the wall are sealed with silicone, the USB slot has a stopper, the beeper's slots a water-repellent mesh. That is
meant for rain, not for a jet; no protection class is claimed, none has been tested.

## Rain, dust and wear in the felt

{losses}
Computed for the middling sound sensor of each class ([frontend.md](frontend.md)) and its factory limits:
[weather.py](collar/weather.py) names the formulas (Corey for water in the pores, Kozeny and
Carman for dust, a fluid layer for a film) and what in them is from memory.
{water}
A film that closes the felt's face is far worse than the same water inside; wool felt soaks it up, new felt that still
repels water does not. None of it has been measured.

**What that means.** A wet or clogged plug makes sound sensors WEAK, then DEAD (the firmware on the virtual probe
rules so), and the probe cannot tell: it hears the siblings through the same felt, and its self-test hears the
beeper through the case. Past 35 dB every position comes out as *only a neighbour* and the bumper as *not
transmitting*. So it is for people to notice, by these signs:

{signs}
**Cleaning.** Take the collar off. Knock it out, brush the rim, suck the plug from both sides with a vacuum
cleaner at low power. Never wash, oil or blow it: that moves dirt inwards or closes the felt. Dry it a night at
room temperature, not above 40 degrees C, and weigh it. A plug that stays heavy, is glazed or torn is cut anew and
calibrated ([build.md](build.md)). Carry it with the rim down or in a bag; keep the second collar dry.
"""


def page() -> str:
    """The page as Markdown."""
    return TEXT.format(
        dimensions=_dimensions(),
        overhang=d.OVERHANG_MAX_DEG,
        wall=d.WALL_LEAST,
        nozzle=d.NOZZLE,
        cap=2 * d.CAP_RADIUS,
        between=2 * (d.BUTTON_X - d.CAP_RADIUS),
        glove=d.GLOVE_BUTTON_LEAST,
        glove_between=d.GLOVE_BETWEEN_LEAST,
        bar=_bar(),
        losses=_losses(),
        water=_water(),
        signs=_signs(),
    )


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
