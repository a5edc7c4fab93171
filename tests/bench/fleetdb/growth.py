"""What a national fleet asks of one history, worked out from what a reading was measured to take.

The fleet: 2,000 depots, 200,000 vehicles of eight positions, read weekly for ten years: 832 million readings.

The law. Disk grows with readings, bytes each as measured by `tests.bench.fleetdb`. A pull costs work in its own
batch plus one descent of each index it touches, log of the rows in base of the fan-out; a day's report costs
work in the day's readings and the fleet's places, not in the history, for it goes by the indexes on time and
place. A vehicle's page costs work in that vehicle's readings. What grows with the whole history is what walks
all of it: vacuum, backup, an index made anew, a fit over everything.

Partitioning. `log`, `readings` and the other decoded tables by hash of probe_id into PARTITIONS parts:
- "once" stays the engine's promise: a unique key of a partitioned table must contain the partition key, and
  (probe, sequence, boot) does. By month it would not: a reading's time is corrected by a late anchor, which
  would move the row between parts, and the key would have to contain the time.
- a pull touches one part of each table, so benches rarely share index pages;
- vacuum, reindex and backup go part by part; a part stays in the size of one machine's memory;
- queries by time visit every part, each by its own index on time: that is PARTITIONS descents for a day's report,
  beside some hundred thousand readings; a BRIN index on time does where a probe's rows arrive in order.
Beyond one server, whole parts move to another (foreign partitions). Depots are no good partition key: probes and
vehicles wander between them.

Sources: PostgreSQL 15 manual, 5.11 "Table Partitioning" (unique keys contain the partition key) and 73.6
"Database Page Layout" (8 kB pages); the shares of a day are common practice.
"""

import math
from typing import Any

DEPOTS, VEHICLES, POSITIONS, A_YEAR, YEARS = 2_000, 200_000, 8, 52, 10
PARTITIONS = 64
WORKDAYS, BUSY_HOURS = 250, 2
# An index entry of a (probe, sequence) key: 8 bytes each, item pointer and header; pages two thirds full.
FAN_OUT = 8192 * 2 // 3 // (16 + 12)


def national(bytes_per_reading: float, ingest_per_s: float) -> dict[str, Any]:
    """The national fleet's figures from bytes per reading on disk and readings per second of one server."""
    readings = VEHICLES * POSITIONS * A_YEAR * YEARS
    a_workday = VEHICLES * POSITIONS * A_YEAR / WORKDAYS
    busy_per_s = a_workday / (BUSY_HOURS * 3600)
    return {
        "readings": readings,
        "gigabytes": round(readings * bytes_per_reading / 1e9),
        "readings_a_workday": round(a_workday),
        "busy_hour_per_s": round(busy_per_s, 1),
        "share_of_measured_rate": round(busy_per_s / ingest_per_s, 3),
        "partitions": PARTITIONS,
        "readings_a_partition": readings // PARTITIONS,
        "gigabytes_a_partition": round(readings * bytes_per_reading / 1e9 / PARTITIONS, 1),
        "index_levels_whole": levels(readings),
        "index_levels_partition": levels(readings // PARTITIONS),
    }


def levels(rows: int) -> int:
    """Levels of a B-tree over that many rows."""
    return math.ceil(math.log(rows, FAN_OUT))
