/* Registers next to the core that a program reads all the time: the divider, the spin locks, the timer's count
 * (RP2040 Datasheet, 2.3.1 SIO and 4.6 Timer). */

enum {
    CPU_ID = 0xD0000000,
    UNSIGNED_DIVIDEND = 0xD0000060,
    UNSIGNED_DIVISOR = 0xD0000064,
    SIGNED_DIVIDEND = 0xD0000068,
    SIGNED_DIVISOR = 0xD000006C,
    QUOTIENT = 0xD0000070,
    REMAINDER = 0xD0000074,
    DIVIDER_STATUS = 0xD0000078,
    FIRST_SPIN_LOCK = 0xD0000100,
    SPIN_LOCKS = 32,
    TIMER_HIGH = 0x40054024,
    TIMER_LOW = 0x40054028,
    IS_READY = 1,
    IS_DIRTY = 2,
};

/* Cycles of a load or store by the package's count: the SIO is on the core's own port, the timer behind a bridge. */
enum { SIO_CYCLES = 1, TIMER_CYCLES = 4 };

static inline void divide_unsigned(core_t *s) {
    s->quotient = s->divisor ? s->dividend / s->divisor : UINT32_MAX;
    s->remainder = s->divisor ? s->dividend % s->divisor : s->dividend;
}

/* By 0 the quotient is -1 or 1, of the sign opposite to the dividend's (Datasheet, 2.3.1.5). */
static inline void divide_signed(core_t *s) {
    int64_t dividend = (int32_t)s->dividend, divisor = (int32_t)s->divisor;
    s->quotient = (uint32_t)(divisor ? dividend / divisor : dividend < 0 ? 1 : -1);
    s->remainder = (uint32_t)(divisor ? dividend % divisor : dividend);
}

/* Store a dividend or a divisor, which starts a division. */
static inline void start_division(core_t *s, uint32_t address, uint32_t value) {
    if (address == UNSIGNED_DIVIDEND || address == SIGNED_DIVIDEND) s->dividend = value;
    else s->divisor = value;
    if (address < SIGNED_DIVIDEND) divide_unsigned(s);
    else divide_signed(s);
    s->divider_status = IS_READY | IS_DIRTY;
}

/* Store a word to the divider or a spin lock; whether it is one. */
static inline bool store_sio(core_t *s, uint32_t address, uint32_t value) {
    if (address - FIRST_SPIN_LOCK < 4 * SPIN_LOCKS && !(address & 3)) {
        s->spin_locks &= ~(1u << ((address - FIRST_SPIN_LOCK) >> 2));
        return true;
    }
    if (address < UNSIGNED_DIVIDEND || address > REMAINDER || address & 3) return false;
    if (address <= SIGNED_DIVISOR) {
        start_division(s, address, value);
        return true;
    }
    *(address == QUOTIENT ? &s->quotient : &s->remainder) = value;
    s->divider_status = IS_READY | IS_DIRTY;
    return true;
}

/* Take a spin lock: its bit, or 0 where it is taken. */
static inline uint32_t take_lock(core_t *s, uint32_t number) {
    uint32_t bit = 1u << number, taken = s->spin_locks & bit;
    s->spin_locks |= bit;
    return taken ? 0 : bit;
}

/* Load a word from the divider, a spin lock or the core's number; whether it is one. */
static inline bool load_sio(core_t *s, uint32_t address, uint32_t *value) {
    if (address - FIRST_SPIN_LOCK < 4 * SPIN_LOCKS && !(address & 3)) {
        *value = take_lock(s, (address - FIRST_SPIN_LOCK) >> 2);
        return true;
    }
    switch (address) {
    case CPU_ID: *value = 0; return true;
    case UNSIGNED_DIVIDEND: case SIGNED_DIVIDEND: *value = s->dividend; return true;
    case UNSIGNED_DIVISOR: case SIGNED_DIVISOR: *value = s->divisor; return true;
    case QUOTIENT: *value = s->quotient; s->divider_status &= ~IS_DIRTY; return true;
    case REMAINDER: *value = s->remainder; return true;
    case DIVIDER_STATUS: *value = s->divider_status; return true;
    default: return false;
    }
}

/* The timer's count of microseconds at this instruction. */
static inline uint64_t timer_us(const core_t *s) {
    return (uint64_t)((s->start_ns + 8.0 * (double)s->cycles - s->timer_epoch_ns) / 1000);
}
