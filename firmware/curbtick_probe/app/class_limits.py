"""Which limits judge a reading: those of the bumper's class, or of any class where none is named."""

from curbtick_wire import classes

# Wide enough that no frequency the front end hears is judged.
_ANY_CENTRE_HZ = 55_000
_ANY_WINDOW_HZ = 60_000

_HIGHEST = ("pass_cdb", "dead_cdb", "neighbour_cdb", "interval_max_ms", "ringdown_max_us", "burst_max_us")
_LOWEST = ("interval_min_ms", "ringdown_min_us", "missing_permille")


def limits_for(limits, class_khz):
    """Return the limits of a class as a dict (settings.LIMIT_CLASS).

    limits: limits.Limits. A class that the set in force lacks is judged by the factory's; class 0, where no custom
    class is set, by `any_class`.
    """
    found = limits.for_class(class_khz)
    if found:
        return found
    for one in classes.factory_classes():
        if one["class_khz"] == class_khz:
            return one
    return any_class(limits.in_force["classes"])


def any_class(rows):
    """Return limits under which every class's sensor is judged, by the highest levels of all, but no frequency."""
    merged = dict(rows[0])
    for name in _HIGHEST:
        merged[name] = max([one[name] for one in rows])
    for name in _LOWEST:
        merged[name] = min([one[name] for one in rows])
    merged["class_khz"] = classes.CUSTOM
    merged["centre_hz"] = _ANY_CENTRE_HZ
    merged["window_hz"] = _ANY_WINDOW_HZ
    return merged
