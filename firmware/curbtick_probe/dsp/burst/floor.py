"""The noise floor of each bin, and the stretches of frames in which a sound stands above it."""

import micropython
from micropython import const

# The floor tracks the lower quartile of a bin's power, which a half-percent duty of bursts, or a call that lasts
# for half the time, cannot lift. The mean of an exponential law is 3.476 times its quartile (-1 / ln(3/4)).
FLOOR_MIN = const(256)
FLOOR_MAX = const(33554432)

# Frames without excess that end a sound.
GAP_FRAMES = const(3)

# A sound is cut after so many frames, so that the baseband ring still holds its peak, and what goes on for ever (a
# supply working in packets) hides no burst.
LONGEST_FRAMES = const(128)

# The guard of a bin is how far above its floor the threshold lies, Q3; this is the most.
GUARD_MOST = const(8192)

# Words of a segment state, and of a segment.
ACTIVE, START, LAST, PEAK_FRAME, PEAK_BIN, PEAK, FRAME, VALLEY = range(8)
STATE_WORDS = const(8)
SEGMENT_WORDS = const(5)

# Frames of one crest.
CREST_FRAMES = const(32)
CRESTS = const(800)


@micropython.viper
def follow(power: ptr32, limit: int, below: int, floor: ptr32, frames: int, shift: int):
    """Move each bin's floor towards the lower quartile of its power.

    power: 16 words a frame, below 2**30. limit, below: spare, any value. floor: 13 words, Q8. Each eight frames above
    the floor lift it by 8 * 2**-shift of itself, each one of them below lowers it by four times that over eight
    (Robbins-Monro steps for the quartile, in proportion). shift: 5..10. frames: a multiple of 8.

    Q format: Q8. Range: FLOOR_MIN..FLOOR_MAX = 2**8..2**25 on return. Headroom: a step is at most 24 / 32 of the
    floor down and 8 / 32 up, so below 2**26.
    """
    bins = int(13)
    while bins:
        n = int(frames)
        while n > 0:
            limit = floor[0] >> 8
            below = int(0)
            if power[0] <= limit:
                below += 4
            if power[16] <= limit:
                below += 4
            power = ptr32(uint(power) + 128)
            if power[0] <= limit:
                below += 4
            if power[16] <= limit:
                below += 4
            power = ptr32(uint(power) + 128)
            if power[0] <= limit:
                below += 4
            if power[16] <= limit:
                below += 4
            power = ptr32(uint(power) + 128)
            if power[0] <= limit:
                below += 4
            if power[16] <= limit:
                below += 4
            power = ptr32(uint(power) + 128)
            limit = floor[0]
            limit += (limit >> shift) * (8 - below)
            if limit > 33554432:
                limit = int(33554432)
            if limit < 256:
                limit = int(256)
            floor[0] = limit
            n -= 8
        floor = ptr32(uint(floor) + 4)
        power = ptr32(uint(power) + 4 - (frames << 6))
        bins -= 1


@micropython.viper
def excess(
    power: ptr32, s: int, best: ptr32, smooth: ptr32, floor: ptr32, guard: ptr32, frames: int, rest: int
):
    """Find in each frame the bin that stands highest above its floor.

    power: 16 words a frame. s: spare, any value. best: 2 words a frame, zero before the call: the highest smoothed
    power among bins above guard / 16 of their floor, and 13 less its bin; left at zero where there is none. smooth: 13
    words kept between calls, each the power and three quarters of itself a frame earlier (13.9 quartile floors in
    noise, in the mean). floor: 13 words, Q8, at most 2**25. guard: 13 words, Q3, at most GUARD_MOST, which fall by a
    quarter towards `rest` in each call. frames: a multiple of 4.

    Q format: integer powers against Q8 floors times Q3 guards. Range: smooth <= 4 * 4.5e8 = 1.8e9 < 2**31 (a sum of
    powers, each at most spectrum.stage_two's 4.5e8, with weights 1, 3/4, 9/16, ...). Headroom: as the range;
    (floor >> 8) * guard <= 2**30.
    """
    bins = int(13)
    while bins:
        s = smooth[0]
        limit = ((floor[0] >> 8) * guard[0]) >> 3
        guard[0] = guard[0] - ((guard[0] - rest) >> 2)
        n = int(frames)
        while n > 0:
            s -= s >> 2
            s += power[0]
            if s > limit:
                if s > best[0]:
                    best[0] = s
                    best[1] = bins
            s -= s >> 2
            s += power[16]
            if s > limit:
                if s > best[2]:
                    best[2] = s
                    best[3] = bins
            power = ptr32(uint(power) + 128)
            s -= s >> 2
            s += power[0]
            if s > limit:
                if s > best[4]:
                    best[4] = s
                    best[5] = bins
            s -= s >> 2
            s += power[16]
            if s > limit:
                if s > best[6]:
                    best[6] = s
                    best[7] = bins
            power = ptr32(uint(power) + 128)
            best = ptr32(uint(best) + 32)
            n -= 4
        smooth[0] = s
        smooth = ptr32(uint(smooth) + 4)
        floor = ptr32(uint(floor) + 4)
        guard = ptr32(uint(guard) + 4)
        power = ptr32(uint(power) + 4 - (frames << 6))
        best = ptr32(uint(best) - (frames << 3))
        bins -= 1


@micropython.viper
def segment(
    best: ptr32,
    v: int,
    state: ptr32,
    found: ptr32,
    guard: ptr32,
    crests: ptr32,
    frames: int,
    waiting: int,
    most: int,
) -> int:
    """Join frames with excess into sounds; return how many `found` holds then.

    A sound ends when it has fallen 15 dB below its peak, after LONGEST_FRAMES, or GAP_FRAMES after its last excess;
    within the tail that remains, a rise of 9 dB from the lowest point starts the next. So does, more than 24 frames
    into a sound, a rise of 12 dB from the lowest after its first peak: a burst in what chatters. Each sound lifts the
    guard of its bin and the bins beside it by a quarter, so that what chatters is not looked at for ever.
    best: from `excess`; set to zero again. v: spare, any value. state: STATE_WORDS words kept between calls. found:
    SEGMENT_WORDS words a sound: first frame, last frame, frame of the peak, bin of the peak, a quarter of the peak (so
    that a small integer holds it); `waiting` sounds in it are kept, and at most `most` are in it on return, later ones
    are dropped. guard: 13 words, Q3. crests: CRESTS words, the highest excess of each CREST_FRAMES frames. Frames count
    from the reading's start; frames is a multiple of CREST_FRAMES.

    Q format: none but the guard's. Range: frames < 2**24, peaks < 2**31. Headroom: nothing is added but 1 to a frame
    number and a quarter to a guard of 2**13.
    """
    found = ptr32(uint(found) + waiting * 20)
    frame = state[6]
    crest = int(800)
    while frames:
        if frame & 31 == 0:
            crest = frame >> 5
            if crest < 800:
                crests[crest] = 0
        v = best[0]
        ended = int(0)
        if v:
            best[0] = 0
            if crest < 800:
                if v > crests[crest]:
                    crests[crest] = v
            if state[0] == 1:
                if v < state[5] >> 5 or frame - state[1] > 127:
                    ended = int(2)
                elif v >> 4 > state[7] and frame - state[1] > 24:
                    ended = int(3)
                elif v < state[7]:
                    state[7] = v
            elif state[0] == 0 or v >> 3 > state[7]:
                state[0] = 1
                state[1] = frame
                state[5] = 0
                state[7] = v
            elif v < state[7]:
                state[7] = v
            if ended != 3:
                state[2] = frame
                if v > state[5]:
                    state[5] = v
                    state[3] = frame
                    state[4] = 13 - best[1]
                    if frame - state[1] < 25:
                        state[7] = v
        elif state[0]:
            if frame - state[2] > 3:
                if state[0] == 1:
                    ended = int(1)
                state[0] = 0
        if ended:
            k = state[4] - 1
            while k < state[4] + 2:
                if k >= 0 and k < 13:
                    guard[k] = guard[k] + (guard[k] >> 2)
                    if guard[k] > 8192:
                        guard[k] = 8192
                k += 1
            if waiting < most:
                found[0] = state[1]
                found[1] = state[2]
                found[2] = state[3]
                found[3] = state[4]
                found[4] = state[5] >> 2
                found = ptr32(uint(found) + 20)
                waiting += 1
            if ended > 1:
                state[7] = v
                state[0] = 2
            if ended == 3:
                state[0] = 1
                state[1] = frame
                state[2] = frame
                state[3] = frame
                state[4] = 13 - best[1]
                state[5] = v
        frame += 1
        best = ptr32(uint(best) + 8)
        frames -= 1
    state[6] = frame
    return waiting


@micropython.viper
def total(floor: ptr32, sum: int) -> int:
    """Return the sum of the 13 floors. sum: spare, any value.

    Q format: Q8. Range: 13 * 2**25 < 2**29. Headroom: as the range.
    """
    sum = int(0)
    n = int(13)
    while n:
        sum += floor[0]
        floor = ptr32(uint(floor) + 4)
        n -= 1
    return sum


@micropython.viper
def around(floor: ptr32, k: int) -> int:
    """Return the floor about bin k: half its own and a quarter of each neighbour's, or of its own at the edge.

    Q format: Q8. Range: at most 2**25. Headroom: as the range.
    """
    low = int(k)
    high = int(k)
    if low > 0:
        low -= 1
    if high < 12:
        high += 1
    return (floor[low] >> 2) + (floor[k] >> 1) + (floor[high] >> 2)
