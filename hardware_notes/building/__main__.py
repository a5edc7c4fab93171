"""Writes build.md."""

from pathlib import Path

from hardware_notes.building.page import page

PAGE = Path(__file__).resolve().parents[1] / "build.md"


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
