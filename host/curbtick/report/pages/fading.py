"""The page of every position that fades."""

from collections.abc import Sequence

from curbtick.report.pages.frame import Frame
from curbtick.report.views import fading, site_map
from curbtick.report.views.fading import Fading


def fading_page(frame: Frame, found: Sequence[Fading]) -> str:
    """Every fading position of the fleet."""
    probes = {reading.probe_id for place, _ in found for reading in place.readings}
    rows = fading.rows(found, frame.vehicle_names)
    return frame.render(site_map.FADING.file, probes, rows=rows)
