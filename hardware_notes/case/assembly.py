"""The printed parts by name, and where each stands in the probe."""

from collections.abc import Callable
from dataclasses import dataclass

from build123d import Location, Part, Plane, Pos, Rot

from hardware_notes.case import covers
from hardware_notes.case import dimensions as d
from hardware_notes.case.collar import FRONT_Z, collar
from hardware_notes.case.nose import nose
from hardware_notes.case.shell import shell, usb_floor_y

# A body whose nose end is at y = 0 and whose x is the technician's left, turned into the probe's axes.
_LYING = Location(Plane(origin=(0, 0, d.NOSE_BACK_Z), x_dir=(-1, 0, 0), z_dir=(0, 1, 0)))


def in_shell(y: float = -d.FLOOR) -> Location:
    """Where a body built as the shell is stands in the probe, its lowest face at height y."""
    return Pos(0, y, 0) * _LYING


def on_axis(z: float, turned_deg: float = 180.0) -> Location:
    """Where a body built along the collar's axis stands, its start at z; turned about that axis."""
    return Pos(0, d.NOSE_Y, z) * Rot(0, 0, turned_deg)


def _cap_place(side: int) -> Location:
    top_y = d.TOP_Y + d.CAP_TRAVEL + d.CAP_HIGH
    return Pos(side * d.BUTTON_X, top_y, d.BUTTON_Z) * Rot(90, 0, 0)


def _stopper_place() -> Location:
    outside_x = d.OUTER_X / 2 + d.STOPPER_LIP_THICK
    floor_y = usb_floor_y() + d.STOPPER_GAP
    return Location(Plane(origin=(outside_x, floor_y, d.USB_PORT_Z), x_dir=(0, 0, 1), z_dir=(-1, 0, 0)))


@dataclass(frozen=True)
class Printed:
    """A printed part. make: the solid as it lies on the printer's bed, z up; places: where it stands in the probe."""

    make: Callable[[], Part]
    places: tuple[Location, ...]


PRINTED: dict[str, Printed] = {
    "collar": Printed(collar, (on_axis(FRONT_Z, 180.0 - d.TURN_DEG),)),
    "nose": Printed(nose, (Pos(0, d.NOSE_Y, d.NOSE_BACK_Z) * Rot(0, 180, 0),)),
    "shell": Printed(shell, (in_shell(),)),
    "lid": Printed(covers.lid, (in_shell(d.PLATE_Y),)),
    "door": Printed(covers.door, (in_shell(d.PLATE_Y),)),
    "cap": Printed(covers.cap, (_cap_place(-1), _cap_place(1))),
    "stopper": Printed(covers.stopper, (_stopper_place(),)),
}


def placed(name: str, part: Part | None = None) -> list[Part]:
    """A printed part's copies as they stand in the probe."""
    solid = PRINTED[name].make() if part is None else part
    return [place * solid for place in PRINTED[name].places]
