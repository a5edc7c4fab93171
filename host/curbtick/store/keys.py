"""Keys of the cache: computed from names, so that a cache made anew, or at another bench, has the same ones."""

import hashlib

BITS = 32
SEQ_MAX = (1 << BITS) - 1


def of_entry(digest: bytes) -> int:
    """Key of what an entry made, from the entry's digest: 63 bits."""
    return int.from_bytes(digest[:8], "big") >> 1


def of_log(unique_id: str, log_id: int) -> int:
    """Key of a probe's log: 31 bits, never 0."""
    hashed = hashlib.sha256(f"{unique_id} {log_id}".encode()).digest()
    return (int.from_bytes(hashed[:4], "big") >> 1) or 1


def of_record(log_key: int, number: int) -> int:
    """Key of a record within its log; the records of a log lie side by side."""
    return log_key << BITS | number


def log_of(record_key: int) -> int:
    """Key of the log that a record belongs to."""
    return record_key >> BITS


def number_of(record_key: int) -> int:
    """Number of a record within its log."""
    return record_key & SEQ_MAX


def digest(content: bytes) -> bytes:
    """What names a content: the first half of its SHA-256."""
    return hashlib.sha256(content).digest()[:16]
