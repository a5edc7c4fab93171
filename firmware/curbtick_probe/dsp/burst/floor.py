"""The noise floor of each bin, and the stretches of frames in which a sound stands above it."""

import micropython
from micropython import const

# The bins of a frame (curbtick_probe.dsp.burst.spectrum), and the words a frame's powers take.
_BINS = const(13)
_FRAME_WORDS = const(16)
_FRAME_BYTES_BITS = const(6)
_TWO_FRAMES_BYTES = const(2 * 4 * _FRAME_WORDS)
_WORD_BYTES = const(4)

# The floor tracks the lower quartile of a bin's power, which a half-percent duty of bursts, or a call that lasts
# for half the time, cannot lift. The mean of an exponential law is 3.476 times its quartile (-1 / ln(3/4)). Q8.
_FLOOR_MIN = const(256)
FLOOR_MAX = const(33554432)
_FLOOR_BITS = const(8)

# The floor moves once for so many frames; a frame below it counts for four above it, which holds it at the quartile.
_FRAMES_A_STEP = const(8)
_BELOW = const(4)

# A shift that leaves of a word its sign, -1 or 0.
_SIGN = const(31)

# A smoothed power keeps three quarters of itself from frame to frame.
_FORGET_BITS = const(2)

# Four frames are looked at together. A smoothed power loses at most a quarter of itself from frame to frame, so none of
# the four is above a limit where the last one is at most 27 / 64 of it, three quarters to the third power.
_FRAMES_A_LOOK = const(4)
_CALM = const(27)
_CALM_BITS = const(6)

# Words of a frame's best bin: the power, and 13 less the bin; bytes of both, as a shift.
_POWER = const(0)
_BIN = const(1)
_BEST_WORDS = const(2)
_BEST_BYTES = const(4 * _BEST_WORDS)
_BEST_BYTES_BITS = const(3)

# Frames without excess that end a sound.
_GAP_FRAMES = const(3)

# A sound is cut after so many frames, so that the baseband ring still holds its peak, and what goes on for ever (a
# supply working in packets) hides no burst.
_LONGEST_FRAMES = const(128)

# A burst has reached its first peak after so many frames, 3 ms.
_ATTACK_FRAMES = const(24)

# As shifts of power: a sound ends 15 dB below its peak; the next one begins 9 dB above the lowest point of a tail,
# or 12 dB above the lowest after its first peak.
_ENDS_BITS = const(5)
_TAIL_RISE_BITS = const(3)
_RISE_BITS = const(4)

# The guard of a bin is how far above its floor the threshold lies, Q3; this is the most. A sound lifts it by a
# quarter, and each call takes a quarter of what it is above its rest.
GUARD_MOST = const(8192)
_GUARD_BITS = const(3)
_GUARD_STEP_BITS = const(2)

# Words of a segment's state.
_ACTIVE = const(0)
_START = const(1)
LAST = const(2)
_PEAK_FRAME = const(3)
_PEAK_BIN = const(4)
_PEAK = const(5)
FRAME = const(6)
_VALLEY = const(7)
STATE_WORDS = const(8)

# What _ACTIVE says: nothing sounds, a sound, what is left after a sound.
_IDLE = const(0)
_SOUND = const(1)
_TAIL = const(2)

# How a sound ended: in silence, far below its peak or too long, by the next one's rise.
_GOES_ON = const(0)
_BY_SILENCE = const(1)
_BY_FALL = const(2)
_BY_RISE = const(3)

# Words of a sound: its first and last frame, its peak's frame and bin, a quarter of its peak.
FOUND_FIRST = const(0)
FOUND_LAST = const(1)
FOUND_PEAK_FRAME = const(2)
FOUND_BIN = const(3)
FOUND_POWER = const(4)
SEGMENT_WORDS = const(5)
_SEGMENT_BYTES = const(4 * SEGMENT_WORDS)
_QUARTER_BITS = const(2)

# Frames of one crest.
_CREST_BITS = const(5)
_CREST_FRAMES = const(1 << _CREST_BITS)
CRESTS = const(800)


@micropython.viper
def follow(power: ptr32, limit: int, floor: ptr32, frames: int, shift: int):
    """Move each bin's floor towards the lower quartile of its power.

    power: 16 words a frame, below 2**30. limit: spare, any value. floor: 13 words, Q8. Each eight frames above
    the floor lift it by 8 * 2**-shift of itself, each one of them below lowers it by four times that over eight
    (Robbins-Monro steps for the quartile, in proportion). shift: 5..10. frames: a multiple of 8.

    Q format: Q8. Range: _FLOOR_MIN..FLOOR_MAX = 2**8..2**25 on return. Headroom: a step is at most 24 / 32 of the
    floor down and 8 / 32 up, so below 2**26.
    """
    bins = int(_BINS)
    while bins:
        n = int(frames)
        while n > 0:
            # Adding up signs, each -1 or 0, takes half the code of eight comparisons.
            limit = (floor[0] >> _FLOOR_BITS) + 1
            below = int(0)
            below = ((power[0] - limit) >> _SIGN) + below
            below = ((power[_FRAME_WORDS] - limit) >> _SIGN) + below
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            below = ((power[0] - limit) >> _SIGN) + below
            below = ((power[_FRAME_WORDS] - limit) >> _SIGN) + below
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            below = ((power[0] - limit) >> _SIGN) + below
            below = ((power[_FRAME_WORDS] - limit) >> _SIGN) + below
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            below = ((power[0] - limit) >> _SIGN) + below
            below = ((power[_FRAME_WORDS] - limit) >> _SIGN) + below
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            limit = floor[0]
            limit += (limit >> shift) * (_FRAMES_A_STEP + _BELOW * below)
            if limit > FLOOR_MAX:
                limit = int(FLOOR_MAX)
            if limit < _FLOOR_MIN:
                limit = int(_FLOOR_MIN)
            floor[0] = limit
            n -= _FRAMES_A_STEP
        floor = ptr32(uint(floor) + _WORD_BYTES)
        power = ptr32(uint(power) + _WORD_BYTES - (frames << _FRAME_BYTES_BITS))
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
    bins = int(_BINS)
    while bins:
        s = smooth[0]
        limit = ((floor[0] >> _FLOOR_BITS) * guard[0]) >> _GUARD_BITS
        guard[0] = guard[0] - ((guard[0] - rest) >> _GUARD_STEP_BITS)
        calm = (limit >> _CALM_BITS) * _CALM
        n = int(frames)
        while n > 0:
            s = s - (s >> _FORGET_BITS) + power[0]
            first = int(s)
            s = s - (s >> _FORGET_BITS) + power[_FRAME_WORDS]
            second = int(s)
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            s = s - (s >> _FORGET_BITS) + power[0]
            third = int(s)
            s = s - (s >> _FORGET_BITS) + power[_FRAME_WORDS]
            power = ptr32(uint(power) + _TWO_FRAMES_BYTES)
            if s > calm:
                frame = ptr32(uint(best) + ((frames - n) << _BEST_BYTES_BITS))
                if first > limit and first > frame[_POWER]:
                    frame[_POWER] = first
                    frame[_BIN] = bins
                if second > limit and second > frame[_BEST_WORDS + _POWER]:
                    frame[_BEST_WORDS + _POWER] = second
                    frame[_BEST_WORDS + _BIN] = bins
                if third > limit and third > frame[2 * _BEST_WORDS + _POWER]:
                    frame[2 * _BEST_WORDS + _POWER] = third
                    frame[2 * _BEST_WORDS + _BIN] = bins
                if s > limit and s > frame[3 * _BEST_WORDS + _POWER]:
                    frame[3 * _BEST_WORDS + _POWER] = s
                    frame[3 * _BEST_WORDS + _BIN] = bins
            n -= _FRAMES_A_LOOK
        smooth[0] = s
        smooth = ptr32(uint(smooth) + _WORD_BYTES)
        floor = ptr32(uint(floor) + _WORD_BYTES)
        guard = ptr32(uint(guard) + _WORD_BYTES)
        power = ptr32(uint(power) + _WORD_BYTES - (frames << _FRAME_BYTES_BITS))
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

    A sound ends when it has fallen 15 dB below its peak, after _LONGEST_FRAMES, or _GAP_FRAMES after its last excess;
    within the tail that remains, a rise of 9 dB from the lowest point starts the next. So does, more than 24 frames
    into a sound, a rise of 12 dB from the lowest after its first peak: a burst within another sound. Each sound lifts
    the guard of its bin and the bins beside it by a quarter, so that a noise that comes and goes is not looked at again
    and again.
    best: from `excess`; set to zero again. v: spare, any value. state: STATE_WORDS words kept between calls. found:
    SEGMENT_WORDS words a sound: first frame, last frame, frame of the peak, bin of the peak, a quarter of the peak (so
    that a small integer holds it); `waiting` sounds in it are kept, and at most `most` are in it on return, later ones
    are dropped. guard: 13 words, Q3. crests: CRESTS words, the highest excess of each 32 frames. Frames count from the
    reading's start; frames is a multiple of 32.

    Q format: none but the guard's. Range: frames < 2**24, peaks < 2**31. Headroom: nothing is added but 1 to a frame
    number and a quarter to a guard of 2**13.
    """
    found = ptr32(uint(found) + waiting * _SEGMENT_BYTES)
    frame = state[FRAME]
    crest = int(CRESTS)
    while frames:
        if frame & (_CREST_FRAMES - 1) == 0:
            crest = frame >> _CREST_BITS
            if crest < CRESTS:
                crests[crest] = 0
        v = best[_POWER]
        ended = int(_GOES_ON)
        if v:
            best[_POWER] = 0
            if crest < CRESTS:
                if v > crests[crest]:
                    crests[crest] = v
            if state[_ACTIVE] == _SOUND:
                if v < state[_PEAK] >> _ENDS_BITS or frame - state[_START] > _LONGEST_FRAMES - 1:
                    ended = int(_BY_FALL)
                elif v >> _RISE_BITS > state[_VALLEY] and frame - state[_START] > _ATTACK_FRAMES:
                    ended = int(_BY_RISE)
                elif v < state[_VALLEY]:
                    state[_VALLEY] = v
            elif state[_ACTIVE] == _IDLE or v >> _TAIL_RISE_BITS > state[_VALLEY]:
                state[_ACTIVE] = _SOUND
                state[_START] = frame
                state[_PEAK] = 0
                state[_VALLEY] = v
            elif v < state[_VALLEY]:
                state[_VALLEY] = v
            if ended != _BY_RISE:
                state[LAST] = frame
                if v > state[_PEAK]:
                    state[_PEAK] = v
                    state[_PEAK_FRAME] = frame
                    state[_PEAK_BIN] = _BINS - best[_BIN]
                    if frame - state[_START] < _ATTACK_FRAMES + 1:
                        state[_VALLEY] = v
        elif state[_ACTIVE]:
            if frame - state[LAST] > _GAP_FRAMES:
                if state[_ACTIVE] == _SOUND:
                    ended = int(_BY_SILENCE)
                state[_ACTIVE] = _IDLE
        if ended:
            k = state[_PEAK_BIN] - 1
            while k < state[_PEAK_BIN] + 2:
                if k >= 0 and k < _BINS:
                    guard[k] = guard[k] + (guard[k] >> _GUARD_STEP_BITS)
                    if guard[k] > GUARD_MOST:
                        guard[k] = GUARD_MOST
                k += 1
            if waiting < most:
                found[FOUND_FIRST] = state[_START]
                found[FOUND_LAST] = state[LAST]
                found[FOUND_PEAK_FRAME] = state[_PEAK_FRAME]
                found[FOUND_BIN] = state[_PEAK_BIN]
                found[FOUND_POWER] = state[_PEAK] >> _QUARTER_BITS
                found = ptr32(uint(found) + _SEGMENT_BYTES)
                waiting += 1
            if ended > _BY_SILENCE:
                state[_VALLEY] = v
                state[_ACTIVE] = _TAIL
            if ended == _BY_RISE:
                state[_ACTIVE] = _SOUND
                state[_START] = frame
                state[LAST] = frame
                state[_PEAK_FRAME] = frame
                state[_PEAK_BIN] = _BINS - best[_BIN]
                state[_PEAK] = v
        frame += 1
        best = ptr32(uint(best) + _BEST_BYTES)
        frames -= 1
    state[FRAME] = frame
    return waiting


@micropython.viper
def total(floor: ptr32) -> int:
    """Return the sum of the 13 floors.

    Q format: Q8. Range: 13 * 2**25 < 2**29. Headroom: as the range.
    """
    summed = int(0)
    n = int(_BINS)
    while n:
        summed += floor[0]
        floor = ptr32(uint(floor) + _WORD_BYTES)
        n -= 1
    return summed


@micropython.viper
def around(floor: ptr32, k: int) -> int:
    """Return the floor about bin k: half its own and a quarter of each neighbour's, or of its own at the edge.

    Q format: Q8. Range: at most 2**25. Headroom: as the range.
    """
    low = int(k)
    high = int(k)
    if low > 0:
        low -= 1
    if high < _BINS - 1:
        high += 1
    return (floor[low] >> 2) + (floor[k] >> 1) + (floor[high] >> 2)
