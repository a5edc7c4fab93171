"""How long files and functions are, and how many lines each room has: `python -m tests.conventions.sizes`."""

import statistics
from pathlib import Path

from tests.conventions.sources import Found, functions, python_files, shown
from tests.paths import FIRMWARE, HOST, ROOT, WIRE

PRODUCT = {"firmware": FIRMWARE, "protocol": WIRE, "host": HOST}
ROOMS = {**PRODUCT, "tests": ROOT / "tests"}


def measured(folder: Path) -> list[Found]:
    """Every function below the folder, shortest first."""
    return sorted((f for path in python_files(folder) for f in functions(path)), key=lambda f: f.code_lines)


def line_count(path: Path) -> int:
    """Lines of a file."""
    return len(path.read_text(encoding="utf-8").splitlines())


def percentile(found: list[Found], share: float) -> int:
    """The length that `share` of the functions do not pass."""
    return found[min(len(found) - 1, int(share * len(found)))].code_lines


def lines_below(folder: Path) -> int:
    """Lines of every Python file below the folder."""
    return sum(line_count(path) for path in python_files(folder))


def lines_of_rooms() -> str:
    """How many lines each part of the product has, and in it each folder; the product's sum last."""
    rows = []
    for name, folder in PRODUCT.items():
        rows.append(f"{lines_below(folder):6}  {name}")
        within = sorted(path for path in folder.rglob("*") if path.is_dir() and lines_below(path))
        rows.extend(f"{lines_below(path):6}      {path.relative_to(folder).as_posix()}" for path in within)
    total = sum(lines_below(folder) for folder in PRODUCT.values())
    return "\n".join([*rows, f"{total:6}  the product"])


def report() -> str:
    """A line for each room, then the longest functions and files."""
    lines = ["room        files  functions  median  p90  over 60  longest file"]
    for name, folder in ROOMS.items():
        found, files = measured(folder), python_files(folder)
        median = statistics.median(f.code_lines for f in found)
        over = sum(f.code_lines > 60 for f in found)
        longest = max(files, key=line_count)
        lines.append(
            f"{name:10} {len(files):6} {len(found):10} {median:7} {percentile(found, 0.9):4} {over:8}"
            f"  {shown(longest)} {line_count(longest)}"
        )
        lines.extend(f"    {f.code_lines:4} {f}" for f in found[-3:])
    return "\n".join(lines)


if __name__ == "__main__":
    print(report())
    print(lines_of_rooms())
