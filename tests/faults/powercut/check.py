"""What must hold after a restart, whatever the power did. Runs on MicroPython."""

from curbtick_wire import codec, names, records

_DROPPED = names.EVENTS.index("snippets_dropped")
_OWN_EVENTS = tuple(names.EVENTS.index(word) for word in ("gap", "snippets_dropped", "log_full"))
_WAVES = (records.SNIPPET, records.SOUNDS)


def _held(log):
    """Every record held, by number; a problem where the order or a record is wrong."""
    held, problems, last = {}, [], 0
    for raw in log.iter_from(1):
        record = codec.decode_record(raw)
        if record["seq"] <= last:
            problems.append(f"number {record['seq']} comes after {last}")
        last = record["seq"]
        held[last] = (raw, record)
    return held, problems


def _dropped_ranges(held):
    ranges = []
    for _raw, record in held.values():
        if record["kind"] == records.EVENT and record["values"]["event"] == _DROPPED:
            ranges.append((record["values"]["value"], record["values"]["extra"]))
    return ranges


def _missing(diary, session, held):
    """Promised records that are gone without leave."""
    ranges = _dropped_ranges(held)
    pending = session.log.drop_pending
    for seq, entry in diary.records.items():
        if entry.done is None or seq in held or seq <= session.log.acknowledged:
            continue
        kind = entry.value[0]
        if kind in _WAVES and any(first <= seq <= last for first, last in ranges + [pending]):
            continue
        yield f"record {seq} of kind {kind} is lost"


def _phantoms(diary, session, held):
    """Records that nobody asked for, or other than asked for."""
    for seq, (raw, record) in held.items():
        entry = diary.records.get(seq)
        if entry and raw == entry.value:
            continue
        own = record["kind"] == records.EVENT and record["values"]["event"] in _OWN_EVENTS
        if not own:
            yield f"record {seq} of kind {record['kind']} was never asked for"
        if record["boot"] > session.clock.boot:
            yield f"record {seq} comes from a boot to come"


def _setting(diary, name, value, first):
    """A setting is the last one promised or one begun after it."""
    allowed = [first]
    for entry in diary.settings[name]:
        allowed = [entry.value] if entry.done is not None else allowed + [entry.value]
    if value not in allowed:
        yield name + " is neither the last one promised nor one begun after it"


def _numbers(diary, session, held):
    promised = [seq for seq, entry in diary.records.items() if entry.done is not None]
    if session.log.next_seq <= max(promised + list(held) + [0]):
        yield f"number {session.log.next_seq} would come again"
    boots = [entry.value for entry in diary.settings["boot"] if entry.done is not None]
    boots += [record["boot"] for _raw, record in held.values() if record["boot"] != session.clock.boot]
    if session.clock.boot <= max(boots + [0]):
        yield f"boot {session.clock.boot} came again"


def _log_id(diary, session):
    """The log has the id that it was last known by; only an id that no start had come to rest on may be another."""
    known = [entry for entry in diary.settings["log_id"] if entry.done is not None]
    if session.log.log_id == 0 or known and session.log.log_id != known[-1].value:
        yield f"the log's id is {session.log.log_id} now"


def problems(diary, session):
    """Every invariant that a restarted session breaks, in words; an empty list where all hold.

    diary: as it stood at the cut; session: just started from what the cut left.
    """
    held, found = _held(session.log)
    found += _missing(diary, session, held)
    found += _phantoms(diary, session, held)
    found += _setting(diary, "limits", session.limits.data, codec.pack_limits(codec.factory_limits()))
    found += _setting(diary, "round", session.rounds.data, b"")
    found += _setting(diary, "keys", session.keys.rows(), [])
    found += _setting(diary, "acknowledged", session.log.acknowledged, 0)
    found += _numbers(diary, session, held)
    found += _log_id(diary, session)
    return found
