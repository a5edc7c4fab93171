"""The page of every position that fades."""

from collections.abc import Sequence

from curbtick.fleet.places.trend import Trend
from curbtick.fleet.work.past import PlaceHistory
from curbtick.report.pages.frame import Frame
from curbtick.report.views import fading, site_map


def fading_page(frame: Frame, found: Sequence[tuple[PlaceHistory, Trend]]) -> str:
    """Every fading position of the fleet."""
    probes = {reading.probe_id for place, _ in found for reading in place.readings}
    rows = fading.rows(found, frame.vehicle_names)
    return frame.render("fading.html", site_map.FADING.file, probes, rows=rows)
