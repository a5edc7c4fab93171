"""Numbers of a log with more than one content: which of them counts.

One that a probe brought which proved itself comes before others, then that of the lower digest. No clock has a say, so
every history that holds the same contents and pulls decides alike; an unproved or forged record shuts out no true one.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain

from sqlalchemy import Connection, delete, select

from curbtick.store import decode, keys, runs, tables
from curbtick.store.fold import ingest, stale
from curbtick.store.journal import entries as journal
from curbtick.store.journal.entries import Entry, values_of

# Of each record's digest so many bytes are kept with a pull in which the probe proved itself.
PREFIX = 8


def doubled_in(connection: Connection, key: int, spans: Iterable[runs.Run]) -> list[int]:
    """Numbers within these spans that have more than one content."""
    columns = tables.doubles.c
    doubled = connection.execute(select(columns.seq).where(columns.probe_id == key)).scalars().all()
    ranges = list(spans)
    return [seq for seq in doubled if any(first <= seq <= last for first, last in ranges)]


def prefixes(digests: Iterable[bytes]) -> str:
    """What an entry keeps of the digests of its records, in hex."""
    return b"".join(digest[:PREFIX] for digest in digests).hex()


def _proved_prefix(one: Entry, number: int) -> bytes | None:
    """What such a pull kept of a number's digest; None where it brought no such number."""
    values = values_of(one)
    kept = bytes.fromhex(values["digests"])
    numbers = chain.from_iterable(range(first, last + 1) for first, last in values["spans"])
    for place, brought in enumerate(numbers):
        if brought == number:
            return kept[place * PREFIX : (place + 1) * PREFIX] or None
    return None


def judge(connection: Connection, key: int, numbers: Sequence[int]) -> None:
    """Decide which content of each of these numbers of a log counts, and hold the decoded records to it."""
    if not numbers:
        return
    raws = counting(connection, key, numbers)
    for table in tables.DECODED.values():
        mine = (table.c.probe_id == key, table.c.seq.in_(list(numbers)))
        if "vehicle_id" in table.c:
            stale.mark(
                connection, connection.execute(select(table.c.vehicle_id).where(*mine)).scalars().all()
            )
        connection.execute(delete(table).where(*mine))
    gone = [keys.of_record(key, number) for number in numbers]
    connection.execute(delete(tables.named).where(tables.named.c.result_id.in_(gone)))
    ingest.decoded(connection, key, decode.decode_all(raws))


def counting(connection: Connection, key: int, numbers: Sequence[int]) -> list[bytes]:
    """The content that counts of each of these numbers of a log, in order."""
    probe = connection.execute(select(tables.probes).where(tables.probes.c.id == key)).one()
    contents = _contents(connection, probe.unique_id, probe.log_id, numbers)
    proofs = _proving(connection, key, numbers)
    return [_best(number, found, proofs) for number, found in sorted(contents.items())]


def _contents(
    connection: Connection, unique_id: str, log_id: int, numbers: Sequence[int]
) -> dict[int, dict[bytes, bytes]]:
    columns = tables.records.c
    mine = (columns.probe == unique_id, columns.log_id == log_id, columns.number.in_(list(numbers)))
    contents: dict[int, dict[bytes, bytes]] = {}
    for row in connection.execute(select(tables.records).where(*mine)):
        contents.setdefault(row.number, {})[bytes(row.digest)] = bytes(row.raw)
    return contents


def _proving(connection: Connection, key: int, numbers: Sequence[int]) -> list[Entry]:
    """The pulls of a log in which the probe proved itself and that brought any of these numbers."""
    columns = tables.proofs.c
    low, high = min(numbers), max(numbers)
    query = select(columns.origin, columns.number).where(
        columns.probe_id == key, columns.first_seq <= high, columns.last_seq >= low
    )
    names = [(row.origin, row.number) for row in connection.execute(query)]
    found = journal.counting(connection, journal.named(connection, names))
    return [one for one in found if one.kind == "records_proved" and one.values is not None]


def _best(number: int, found: Mapping[bytes, bytes], proving: Iterable[Entry]) -> bytes:
    prefixes_of = {_proved_prefix(one, number) for one in proving} - {None}
    proved = [digest for digest in found if digest[:PREFIX] in prefixes_of]
    return found[min(proved or found)]
