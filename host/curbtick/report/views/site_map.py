"""The one list of pages: navigation, the site, the demo's folder and the tests read it."""

from typing import NamedTuple


class PageName(NamedTuple):
    """A page that is not about one vehicle or reading: its file, which is its address too, and its name in a link."""

    file: str
    title: str


START = PageName("index.html", "To do")
DAY = PageName("day.html", "Day")
FLEET = PageName("fleet.html", "Fleet")
WORK = PageName("work.html", "Sheets")
FADING = PageName("fading.html", "Fading")
LIMITS = PageName("limits.html", "Limits")
PROBES = PageName("probes.html", "Probes")

# In the order of the navigation.
OVERVIEWS = (START, DAY, FLEET, WORK, FADING, LIMITS, PROBES)
# Only where the pages are served to this computer.
BENCH = PageName("bench.html", "Bench")


def vehicle(key: int | str) -> str:
    """Return the file of a vehicle's page by the vehicle's key."""
    return f"vehicle-{key}.html"


def reading(ref: str) -> str:
    """Return the file of a reading's page by the reading's name, such as a1b2c3-17."""
    return f"reading-{ref}.html"


# Every file of a site, as patterns.
FILES = (*(page.file for page in OVERVIEWS), vehicle("*"), reading("*"))
