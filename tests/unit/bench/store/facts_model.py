"""What benches noted and what must follow from it, over plain lists; nothing of the program is used.

Written from the words of the design alone: an entry is named by its origin and number, undo is another entry, and what
was said last counts. What comes before what: an entry after all of its own origin with lower numbers, and after all
that its writer had seen; where that leaves a choice, the lower (time, origin, number) comes first.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple


class Noted(NamedTuple):
    """An entry. ref: its digest in hex; seen: highest number of each other origin that the writer knew."""

    origin: str
    number: int
    ref: str
    at_ms: int
    kind: str
    seen: Mapping[str, int]
    said: Mapping[str, Any]


class Facts(NamedTuple):
    """What follows.

    vehicles: by the entries that entered one vehicle, whether it is retired under all of them. names: name, and what
    the bumpers carry, of those that were entered once. places: where the last standing assignment of a reading puts it.
    """

    vehicles: dict[frozenset[str], bool]
    names: dict[str, tuple[str, tuple[int, int], tuple[int, int]]]
    places: dict[tuple[str, int, int], tuple[frozenset[str], int, int]]
    swaps: set[tuple[frozenset[str], int, frozenset[int]]]
    depots: dict[str, str]
    probes: dict[str, tuple[str | None, str | None]]
    limits: dict[int, str]
    rounds: dict[int, tuple[frozenset[str], ...]]


def facts(rows: Iterable[tuple[str, int, str, int, str, str, str]]) -> Facts:
    """rows: (origin, number, digest in hex, time, kind, seen, payload)."""
    noted = [Noted(*row[:5], json.loads(row[5]), json.loads(row[6])) for row in rows]
    limits = {one.ref for one in noted if one.kind == "limits_made"}
    # Which limits there are is the steward's to say, and anybody may note an undo.
    undone = {one.said["entry"] for one in noted if one.kind == "undone"} - limits
    standing = [one for one in in_order(noted) if one.ref not in undone]
    whole = same_vehicles(standing)
    return Facts(
        {members: is_retired(standing, members) for members in whole.values()},
        {ref: body(standing, ref) for ref, members in whole.items() if len(members) == 1},
        places(standing, whole),
        {
            (whole[one.said["vehicle"]], one.said["bumper"], frozenset(one.said["positions"]))
            for one in of_kind(standing, "swapped")
            if one.said["vehicle"] in whole
        },
        {one.said["bench"]: one.said["depot"] for one in of_kind(standing, "bench_placed")},
        probes(standing),
        {
            revision: one.said["payload"]
            for revision, one in lowest(standing, "limits_made", "revision").items()
        },
        {
            number: tuple(whole[row[0]] for row in one.said["vehicles"] if row[0] in whole)
            for number, one in lowest(standing, "round_made", "number").items()
        },
    )


def in_order(noted: list[Noted]) -> list[Noted]:
    """Entries in the order in which they count."""
    waiting = sorted(noted, key=lambda one: (one.at_ms, one.origin, one.number))
    ordered: list[Noted] = []
    while waiting:
        first = next(one for one in waiting if not any(before(other, one) for other in waiting))
        waiting.remove(first)
        ordered.append(first)
    return ordered


def before(one: Noted, other: Noted) -> bool:
    """Whether the writer of the other entry knew this one."""
    if one.origin == other.origin:
        return one.number < other.number
    return one.number <= other.seen.get(one.origin, 0)


def of_kind(standing: list[Noted], kind: str) -> list[Noted]:
    return [one for one in standing if one.kind == kind]


def lowest(standing: list[Noted], kind: str, name: str) -> dict[int, Noted]:
    """By number the entry of the lowest digest."""
    found: dict[int, Noted] = {}
    for one in sorted(of_kind(standing, kind), key=lambda one: one.ref, reverse=True):
        found[one.said[name]] = one
    return found


def same_vehicles(standing: list[Noted]) -> dict[str, frozenset[str]]:
    """By each entry that entered a vehicle, all that entered the same one."""
    whole = {one.ref: frozenset((one.ref,)) for one in of_kind(standing, "vehicle_entered")}
    for one in of_kind(standing, "same_as"):
        if one.said["vehicle"] in whole and one.said["other"] in whole:
            joined = whole[one.said["vehicle"]] | whole[one.said["other"]]
            whole |= dict.fromkeys(joined, joined)
    return whole


def is_retired(standing: list[Noted], members: frozenset[str]) -> bool:
    """A vehicle that was entered twice is in use as long as it is in use under one of its entries."""
    return members <= {one.said["vehicle"] for one in of_kind(standing, "vehicle_retired")}


def body(standing: list[Noted], ref: str) -> tuple[str, tuple[int, int], tuple[int, int]]:
    """Name, and positions and class of the rear and front bumper, of a vehicle that was entered once.

    The time of a fitting is its own, from which on it is carried: the last of these counts.
    """
    last: dict[Any, Any] = {}
    for one in standing:
        if one.ref == ref:
            last = {"name": one.said["name"], 0: one.said["rear"], 1: one.said["front"]}
        elif one.kind == "vehicle_renamed" and one.said["vehicle"] == ref:
            last["name"] = one.said["name"]
    fitted = [one for one in standing if one.ref == ref or one.said.get("vehicle") == ref]
    for one in sorted(fitted, key=lambda one: one.at_ms):
        if one.ref == ref:
            last |= {0: one.said["rear"], 1: one.said["front"]}
        elif one.kind == "vehicle_refitted":
            last[one.said["bumper"]] = one.said["fit"]
    return last["name"], tuple(last[0]), tuple(last[1])


def places(
    standing: list[Noted], whole: dict[str, frozenset[str]]
) -> dict[tuple[str, int, int], tuple[frozenset[str], int, int]]:
    found = {}
    for one in of_kind(standing, "readings_assigned"):
        for reading, vehicle, bumper, position in one.said["readings"]:
            if vehicle in whole:
                found[tuple(reading)] = (whole[vehicle], bumper, position)
    return found


def probes(standing: list[Noted]) -> dict[str, tuple[str | None, str | None]]:
    """Name and depot that were said last of each probe."""
    found: dict[str, tuple[str | None, str | None]] = {}
    for one in of_kind(standing, "probe_described"):
        name, depot = found.get(one.said["probe"], (None, None))
        found[one.said["probe"]] = (one.said["name"] or name, one.said["depot"] or depot)
    return found
