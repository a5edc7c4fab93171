"""What must follow from a history's records and entries, worked out over plain lists; nothing of the store is used.

It is slow and short on purpose: every reading of a place is looked at with every other one, and nothing is kept between
two questions. Its input is what stands in the two immutable tables.
"""

import hashlib
import json
from collections import defaultdict
from typing import Any, NamedTuple

from curbtick_wire import codec, names, records

REPAIRS = {"clean", "replace", "repair", "conditions", "fuse", "module", "fault_memory"}
NEVER = 1 << 52


class Said(NamedTuple):
    """An entry: who wrote it as which number, when by the writer's clock, and what the writer knew of others."""

    origin: str
    number: int
    ref: str
    at_ms: int
    kind: str
    knew: dict[str, int]
    what: dict[str, Any]


class Read(NamedTuple):
    """A reading or bumper result of a log: between which moments it was taken, and what it says."""

    log: tuple[str, int]
    number: int
    kind: int
    earliest_ms: int
    latest_ms: int
    values: dict[str, Any]


State = dict[frozenset[str], dict[str, Any]]


def state(entries: list[tuple[Any, ...]], raws: list[tuple[str, int, int, bytes]]) -> State:
    """By vehicle, named by the entries that entered it: open and done places, how many were proved, unread places.

    entries: (origin, number, digest in hex, time, kind, seen, payload). raws: (probe, log id, number, record).
    """
    said = _counting(entries)
    undone = {one.what["entry"] for one in said if one.kind == "undone"}
    said = _in_order([one for one in said if one.ref not in undone])
    taken = _taken(said, raws)
    vehicles = _vehicles(said)
    where = _where(said, taken, vehicles)
    return {vehicle: _of_vehicle(vehicle, said, taken, where) for vehicle in set(vehicles.values())}


def _counting(entries: list[tuple[Any, ...]]) -> list[Said]:
    moved: dict[str, str] = {}
    for row in entries:
        if row[4] == "forked":
            moved.update(json.loads(row[6])["moved"])
    by_name: dict[tuple[str, int], tuple[Any, ...]] = {}
    for row in sorted(entries, key=lambda one: one[2]):
        if row[2] not in moved:
            by_name.setdefault((row[0], row[1]), row)
    said = []
    for origin, number, ref, at_ms, kind, seen, payload in by_name.values():
        what = _follow(json.loads(payload), moved)
        said.append(Said(origin, number, ref, at_ms, kind, {**json.loads(seen), origin: number - 1}, what))
    return said


def _follow(value: Any, moved: dict[str, str]) -> Any:
    """A payload that names what stands under another origin now by its new name."""
    if isinstance(value, dict):
        return {key: _follow(one, moved) for key, one in value.items()}
    if isinstance(value, list):
        return [_follow(one, moved) for one in value]
    while isinstance(value, str) and value in moved:
        value = moved[value]
    return value


def _in_order(said: list[Said]) -> list[Said]:
    """After what each writer knew; of those that may come next the one with the earliest clock."""
    left, placed = list(said), []
    while left:
        free = [one for one in left if not any(_knew(one, other) for other in left if other is not one)]
        chosen = min(free or left, key=lambda one: (one.at_ms, one.origin, one.number))
        placed.append(chosen)
        left.remove(chosen)
    return placed


def _knew(one: Said, other: Said) -> bool:
    return other.number <= one.knew.get(other.origin, 0)


def _vehicles(said: list[Said]) -> dict[str, frozenset[str]]:
    """By the entry that entered a vehicle, all that entered the same one."""
    groups = {one.ref: {one.ref} for one in said if one.kind == "vehicle_entered"}
    for one in said:
        if one.kind == "same_as":
            both = groups.get(one.what["vehicle"], set()) | groups.get(one.what["other"], set())
            for ref in both:
                groups[ref] = both
    return {ref: frozenset(group) for ref, group in groups.items()}


def _taken(said: list[Said], raws: list[tuple[str, int, int, bytes]]) -> list[Read]:
    pulls = [one for one in said if one.kind == "pulled"]
    proofs = [one for one in said if one.kind == "records_proved"]
    chosen: dict[tuple[str, int, int], bytes] = {}
    boots: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    for probe, log_id, number, raw in raws:
        name = (probe, log_id, number)
        boots[probe, log_id, codec.decode_record(raw)["boot"]].append(number)
        if name not in chosen or _rank(raw, name, proofs) < _rank(chosen[name], name, proofs):
            chosen[name] = raw
    clocks = {boot: _clock(boot, numbers, raws, pulls) for boot, numbers in boots.items()}
    found = []
    for (probe, log_id, number), raw in sorted(chosen.items()):
        record = codec.decode_record(raw)
        header, values = record, record["values"]
        if record["kind"] in (records.READING, records.BUMPER):
            earliest_ms, latest_ms = _times(header, (probe, log_id), clocks)
            found.append(Read((probe, log_id), number, record["kind"], earliest_ms, latest_ms, values))
    return found


def _rank(raw: bytes, name: tuple[str, int, int], proofs: list[Said]) -> tuple[bool, bytes]:
    digest = hashlib.sha256(raw).digest()[:16]
    proved = False
    for proof in proofs:
        what = proof.what
        if (what["probe"], what["log_id"]) == name[:2]:
            numbers = [n for first, last in what["spans"] for n in range(first, last + 1)]
            kept = bytes.fromhex(what["digests"])
            parts = {n: kept[8 * place : 8 * place + 8] for place, n in enumerate(numbers)}
            proved |= parts.get(name[2]) == digest[:8]
    return not proved, digest


def _clock(
    boot: tuple[str, int, int],
    numbers: list[int],
    raws: list[tuple[str, int, int, bytes]],
    pulls: list[Said],
) -> dict[str, int | None]:
    """Of a start of a probe: its time at tick 0 and at its anchor, where it has one, and when it was first pulled."""
    anchors = []
    anchored = names.EVENTS.index("anchored")
    for probe, log_id, _, raw in raws:
        record = codec.decode_record(raw)
        values, is_event = record["values"], record["kind"] == records.EVENT
        if is_event and (probe, log_id, record["boot"]) == boot and values["event"] == anchored:
            anchors.append((values["extra"], values["value"] * 1000, record["ticks_ms"]))
    mine = [one for one in pulls if (one.what["probe"], one.what["log_id"]) == boot[:2]]
    for pull in mine:
        anchors += [(u, host, ticks) for number, ticks, host, u in pull.what["anchors"] if number == boot[2]]
    best = min(anchors, default=None)
    at_ms = [
        pull.at_ms
        for pull in mine
        if pull.what["spans"]
        and min(s[0] for s in pull.what["spans"]) <= max(numbers)
        and max(s[1] for s in pull.what["spans"]) >= min(numbers)
    ]
    return {
        "start": None if best is None else best[1] - best[2],
        "anchor": None if best is None else best[1],
        "pulled": min(at_ms, default=NEVER),
    }


def _times(
    header: dict[str, Any], log: tuple[str, int], clocks: dict[tuple[str, int, int], dict[str, int | None]]
) -> tuple[int, int]:
    clock = clocks[(*log, header["boot"])]
    if clock["start"] is not None:
        at_ms = clock["start"] + header["ticks_ms"]
        return at_ms, at_ms
    own = sorted((boot, one) for (probe, log_id, boot), one in clocks.items() if (probe, log_id) == log)
    before = [one["anchor"] for boot, one in own if boot < header["boot"] and one["anchor"] is not None]
    after = [one["start"] for boot, one in own if boot > header["boot"] and one["start"] is not None]
    return before[-1] if before else 0, min([clock["pulled"] or 0, *after[:1]])


Where = dict[tuple[tuple[str, int], int], tuple[frozenset[str] | None, int, int]]


def _where(said: list[Said], taken: list[Read], vehicles: dict[str, frozenset[str]]) -> Where:
    """Vehicle, bumper and position of each reading."""
    rounds: dict[int, Said] = {}
    for one in sorted((one for one in said if one.kind == "round_made"), key=lambda one: one.ref):
        rounds.setdefault(one.what["number"], one)
    where: Where = {}
    for one in taken:
        if one.kind == records.READING:
            values = one.values
            made = rounds.get(values["round_id"]) if values["round_id"] else None
            members = made.what["vehicles"] if made else []
            place = values["vehicle"] - 1
            ref = members[place][0] if 0 <= place < len(members) else ""
            where[one.log, one.number] = (vehicles.get(ref), values["bumper"], values["position"])
    for one in said:
        if one.kind == "readings_assigned":
            for (probe, log_id, number), ref, bumper, position in one.what["readings"]:
                if ref in vehicles and ((probe, log_id), number) in where:
                    where[(probe, log_id), number] = (vehicles[ref], bumper, position)
    return where


def _of_vehicle(vehicle: frozenset[str], said: list[Said], taken: list[Read], where: Where) -> dict[str, Any]:
    fits, ever = _fits(vehicle, said)
    found: dict[str, Any] = {"open": set(), "done": set(), "proved": 0, "unread": set()}
    first = min(vehicle)
    is_reference = next(one.what["is_reference"] for one in said if one.ref == first)
    mine = {key: place[1:] for key, place in where.items() if place[0] == vehicle}
    line = _line([one for one in taken if one.kind == records.BUMPER or (one.log, one.number) in mine])
    for bumper, most in ever.items():
        for position in range(1, most + 1):
            here = {key for key, place in mine.items() if place == (bumper, position)}
            if position <= fits.get(bumper, 0) and not here:
                found["unread"].add((bumper, position))
            for state_ in (
                [] if is_reference else _walk(line, here, _steps(vehicle, said, bumper, position), where)
            ):
                if state_ == "proved":
                    found["proved"] += 1
                else:
                    found[state_].add((bumper, position))
    return found


def _fits(vehicle: frozenset[str], said: list[Said]) -> tuple[dict[int, int], dict[int, int]]:
    """Positions of each bumper now, and the most that it ever had."""
    rows = []
    for place, one in enumerate(said):
        if one.kind == "vehicle_entered" and one.ref == min(vehicle):
            rows += [
                (one.at_ms, -1, bumper, one.what[word][0]) for bumper, word in enumerate(("rear", "front"))
            ]
        if one.kind == "vehicle_refitted" and one.what["vehicle"] in vehicle:
            rows.append((one.at_ms, place, one.what["bumper"], one.what["fit"][0]))
    now = {bumper: positions for _, _, bumper, positions in sorted(rows)}
    return now, {bumper: max(row[3] for row in rows if row[2] == bumper) for bumper in now}


def _line(events: list[Read]) -> list[Read]:
    """Each log in its own order; of the logs' next ones the one that was taken first."""
    left, line = sorted(events, key=lambda one: (one.log, one.number)), []
    while left:
        heads: dict[tuple[str, int], Read] = {}
        for one in left:
            heads.setdefault(one.log, one)
        chosen = min(heads.values(), key=lambda one: (one.latest_ms, _key(one)))
        line.append(chosen)
        left.remove(chosen)
    return line


def _key(one: Read) -> tuple[int, int]:
    """What tells readings of one moment apart; any rule will do, and this is the one in use."""
    hashed = hashlib.sha256(f"{one.log[0]} {one.log[1]}".encode()).digest()
    return int.from_bytes(hashed[:4], "big") >> 1, one.number


def _steps(vehicle: frozenset[str], said: list[Said], bumper: int, position: int) -> list[Said]:
    return [
        one
        for one in said
        if one.kind == "step_done"
        and one.what["vehicle"] in vehicle
        and (one.what["bumper"], one.what["position"]) == (bumper, position)
        and one.what["step"] in REPAIRS
    ]


def _walk(line: list[Read], here: set[Any], repairs: list[Said], where: Where) -> list[str]:
    """The states of a place's findings, one after the other."""
    again = {(one.log, one.values["supersedes_seq"]): one for one in line if one.kind == records.READING}
    states, faults = [], []
    for one in line:
        if one.kind != records.READING or (one.log, one.number) not in here:
            continue
        if _was_taken_again(one, again, where):
            continue
        verdict = names.VERDICTS[one.values["verdict"]]
        if verdict in ("weak", "dead"):
            faults.append(one)
        elif verdict == "pass" and faults and _proves(one, faults, repairs):
            states.append("proved")
            faults = []
    if faults:
        noted = _on(faults, repairs)
        stands = [all(_knew_reading(r, f) or f.latest_ms <= r.at_ms for f in faults) for r in noted]
        states.append("done" if any(stands) else "open")
    return states


def _was_taken_again(one: Read, again: dict[Any, Read], where: Where) -> bool:
    newer = again.get((one.log, one.number))
    if newer is None:
        return False
    if newer.values["round_id"]:
        return True
    place = where[one.log, one.number]
    return place[0] is not None and place == where[newer.log, newer.number]


def _on(faults: list[Read], repairs: list[Said]) -> list[Said]:
    named = [[*one.log, one.number] for one in faults]
    return [one for one in repairs if one.what["finding"] in named]


def _knew_reading(repair: Said, one: Read) -> bool:
    last = repair.what["last"]
    return last is not None and tuple(last[:2]) == one.log and one.number <= last[2]


def _proves(one: Read, faults: list[Read], repairs: list[Said]) -> bool:
    first = faults[0]
    after = one.number > first.number if one.log == first.log else one.earliest_ms > first.latest_ms
    return after and all(_knew_reading(r, one) or r.at_ms < one.earliest_ms for r in _on(faults, repairs))
