"""The record of a crash: what the probe knows of why it stopped, written by the start that follows or just before."""

from curbtick_wire import names, records

from curbtick_probe.store.log import Log, LogFull


def write_crash(log: Log, cause: str, where: str, boot: int = 0, ticks_ms: int = records.NONE_U32) -> int:
    """Log a crash; return the record's sequence number, 0 where the log is full.

    cause: a word of names.CRASHES. where: module, function and line in ASCII; of more than records.CRASH_WORDS_MAX
    characters the last ones are kept, which are the innermost call. boot, ticks_ms: when it happened; 0 and
    records.NONE_U32 where that is not known.
    """
    values = {"crash_boot": boot, "crash_ticks_ms": ticks_ms, "cause": names.CRASHES.index(cause)}
    try:
        return log.append(records.CRASH, values, where.encode()[-records.CRASH_WORDS_MAX :])
    except LogFull:
        return 0
