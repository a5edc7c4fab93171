"""The noise floor of each bin, and the stretches of frames in which a sound stands above it."""

import micropython
from micropython import const

# The floor tracks the lower quartile of a bin's power, which a half-percent duty of bursts, or a call that lasts
# for half the time, cannot lift. The mean of an exponential law is 3.476 times its quartile (-1 / ln(3/4)).
FLOOR_MIN = const(256)
FLOOR_MAX = const(33554432)

# Frames without excess that end a sound.
GAP_FRAMES = const(3)

# The guard of a bin is how far above its floor the threshold lies, Q4: at rest, and at most.
GUARD_MOST = const(8192)

# Words of a segment state, and of a segment.
ACTIVE, START, LAST, PEAK_FRAME, PEAK_BIN, PEAK, FRAME, CREST, VALLEY = range(9)
STATE_WORDS = const(9)
SEGMENT_WORDS = const(5)


@micropython.viper
def follow(power: ptr32, f: int, step: int, floor: ptr32, frames: int, shift: int):
    """Move each bin's floor towards the lower quartile of its power.

    power: 16 words a frame, below 2**30. f, step: spare, any value. floor: 13 words, Q8. A frame above the floor
    lifts it by 2**-shift of itself, one below lowers it by three times that (Robbins-Monro steps for the quartile,
    in proportion). shift: 5..10. frames: at most 64.

    Q format: Q8. Range: FLOOR_MIN..FLOOR_MAX = 2**8..2**25 on return. Headroom: within a call of 32 frames the
    floor grows by at most (1 + 1/32)**64 < 7.2, so below 2**28.
    """
    bins = int(13)
    while bins:
        f = floor[0]
        n = int(frames)
        while n:
            step = f >> shift
            if power[0] > f >> 8:
                f += step
            else:
                f -= step + step + step
            power = ptr32(uint(power) + 64)
            n -= 1
        if f > 33554432:
            f = int(33554432)
        if f < 256:
            f = int(256)
        floor[0] = f
        floor = ptr32(uint(floor) + 4)
        power = ptr32(uint(power) + 4 - (frames << 6))
        bins -= 1


@micropython.viper
def excess(
    power: ptr32, best: ptr32, s: int, smooth: ptr32, floor: ptr32, guard: ptr32, frames: int, rest: int
):
    """Find in each frame the bin that stands highest above its floor.

    power: 16 words a frame. best: 2 words a frame, zero before the call: the highest smoothed power among bins above
    guard / 16 of their floor, and 13 less its bin; left at zero where there is none. s: spare, any value. smooth: 13
    words kept between calls, each half the power and three quarters of itself a frame earlier (6.95 quartile floors in
    noise, in the mean). floor: 13 words, Q8, at most 2**25. guard: 13 words, Q4, at most GUARD_MOST, which fall by an
    eighth towards `rest` in each call.

    Q format: integer powers against Q8 floors times Q4 guards. Range: smooth <= 2 * 9.2e8 = 1.84e9 < 2**31 (a sum of
    halves of powers below 9.2e8 with weights 1, 3/4, 9/16, ...). Headroom: as the range; (floor >> 8) * guard <= 2**30.
    """
    bins = int(13)
    while bins:
        s = smooth[0]
        limit = ((floor[0] >> 8) * guard[0]) >> 4
        guard[0] = guard[0] - ((guard[0] - rest) >> 3)
        n = int(frames)
        while n:
            s = s - (s >> 2) + (power[0] >> 1)
            if s > limit:
                if s > best[0]:
                    best[0] = s
                    best[1] = bins
            power = ptr32(uint(power) + 64)
            best = ptr32(uint(best) + 8)
            n -= 1
        smooth[0] = s
        smooth = ptr32(uint(smooth) + 4)
        floor = ptr32(uint(floor) + 4)
        guard = ptr32(uint(guard) + 4)
        power = ptr32(uint(power) + 4 - (frames << 6))
        best = ptr32(uint(best) - (frames << 3))
        bins -= 1


@micropython.viper
def segment(best: ptr32, frame: int, v: int, state: ptr32, found: ptr32, frames: int, most: int) -> int:
    """Join frames with excess into sounds; return how many ended in this call.

    A sound ends when it has fallen 15 dB below its peak, or GAP_FRAMES after its last excess; within the tail that
    remains, a rise of 9 dB from the lowest point starts the next.
    best: from `excess`; set to zero again. frame, v: spare, any value. state: STATE_WORDS words kept between calls;
    its CREST is the highest excess of this call. found: SEGMENT_WORDS words a sound: first frame, last frame, frame
    of the peak, bin of the peak, peak; at most `most` sounds, later ones are dropped. Frames count from the reading's
    start.

    Q format: none. Range: frames < 2**24, peaks < 2**31. Headroom: nothing is added but 1 to a frame number.
    """
    n = int(0)
    frame = state[6]
    state[7] = 0
    while frames:
        v = best[0]
        ended = int(0)
        if v:
            best[0] = 0
            if v > state[7]:
                state[7] = v
            if state[0] == 1:
                if v < state[5] >> 5:
                    ended = int(2)
                    state[8] = v
            elif state[0] == 0 or v >> 3 > state[8]:
                state[0] = 1
                state[1] = frame
                state[5] = 0
            elif v < state[8]:
                state[8] = v
            state[2] = frame
            if v > state[5]:
                state[5] = v
                state[3] = frame
                state[4] = 13 - best[1]
        elif state[0]:
            if frame - state[2] > 3:
                if state[0] == 1:
                    ended = int(1)
                state[0] = 0
        if ended:
            if ended == 2:
                state[0] = 2
            if n < most:
                found[0] = state[1]
                found[1] = state[2]
                found[2] = state[3]
                found[3] = state[4]
                found[4] = state[5]
                found = ptr32(uint(found) + 20)
                n += 1
        frame += 1
        best = ptr32(uint(best) + 8)
        frames -= 1
    state[6] = frame
    return n
