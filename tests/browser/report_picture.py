"""The README's picture of the report's first page: `python -m tests.browser.report_picture` makes it, in two minutes.

It runs the demo day of seed 1 and photographs the top of that page. Beside the picture stands the digest of what it
shows, dates and levels apart; tests/pair/virtual/test_demo.py compares it with the page as it is now.
"""

import hashlib
import io
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from curbtick.report.views import site_map

from tests.paths import NOTES

PICTURE = NOTES / "pictures" / "report.png"
DIGEST = PICTURE.with_suffix(".sha256")
WIDTH, HEIGHT = 1100, 1560
# So few colours keep the file small; the page has hardly more.
COLOURS = 64
# The first heading that lies below the picture's edge.
BELOW = "<h2>Vehicles without work</h2>"
# What differs from one run of the demo to the next: the day, the minute, and the last digit of a level, because the
# bench's real time decides when the probe's simulated time goes on; and the vehicles' keys, which each history draws.
CHANGING = re.compile(r"\d{4}-\d\d-\d\d|\d\d:\d\d|-\d+\.\d|vehicle-\d+")
DEMO = "from curbtick.commands.start import main; main()"


def digest(page: str) -> str:
    """SHA-256 of the first page as far as the picture shows it, style and all, but for what is CHANGING."""
    shown, heading, _ = page.partition(BELOW)
    assert heading, f"the page has no {BELOW}"
    return hashlib.sha256(CHANGING.sub("", shown).encode()).hexdigest()


def photograph(page: Path) -> bytes:
    """The top of a page as PNG."""
    # What only the picture needs; the digest is compared where no browser is.
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from tests import programs
    from tests.browser.conftest import FLAGS

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(programs.needed(programs.CHROMIUM)), args=FLAGS)
        tab = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        tab.goto(page.as_uri())
        photo = Image.open(io.BytesIO(tab.screenshot()))
        browser.close()
    out = io.BytesIO()
    photo.convert("RGB").quantize(COLOURS).save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    """Run the demo day, and write picture and digest."""
    with tempfile.TemporaryDirectory(prefix="curbtick-picture-") as folder:
        subprocess.run([sys.executable, "-c", DEMO, "demo", "--out", folder, "--seed", "1"], check=True)
        page = Path(folder) / "report" / site_map.START.file
        PICTURE.write_bytes(photograph(page))
        DIGEST.write_text(digest(page.read_text(encoding="utf-8")) + "\n", encoding="ascii")


if __name__ == "__main__":
    main()
