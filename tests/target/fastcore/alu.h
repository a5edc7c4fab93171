/* Arithmetic with flags (ARMv6-M Architecture Reference Manual, A2.2 "Arithmetic and logic": AddWithCarry, Shift_C). */

/* Set N and Z from a result, and return it. */
static inline uint32_t set_nz(core_t *s, uint32_t result) {
    s->n = result >> 31;
    s->z = result == 0;
    return result;
}

/* a + b + carry, with all four flags. */
static inline uint32_t add_with_carry(core_t *s, uint32_t a, uint32_t b, uint32_t carry) {
    uint64_t wide = (uint64_t)a + b + carry;
    uint32_t sum = (uint32_t)wide;
    s->c = (uint32_t)(wide >> 32);
    s->v = (~(a ^ b) & (a ^ sum)) >> 31;
    return set_nz(s, sum);
}

static inline uint32_t subtract(core_t *s, uint32_t a, uint32_t b) {
    return add_with_carry(s, a, ~b, 1);
}

/* Shifts by 0 to 255. A shift by 0 leaves the carry as it is; one past 32 shifts zeros into it. */
static inline uint32_t shift_left(core_t *s, uint32_t value, uint32_t count) {
    if (count) s->c = count <= 32 ? value >> (32 - count) & 1 : 0;
    return set_nz(s, count < 32 ? value << count : 0);
}

static inline uint32_t shift_right(core_t *s, uint32_t value, uint32_t count) {
    if (count) s->c = count <= 32 ? value >> (count - 1) & 1 : 0;
    return set_nz(s, count < 32 ? value >> count : 0);
}

/* Past 32, every bit and the carry are the sign. */
static inline uint32_t shift_right_signed(core_t *s, uint32_t value, uint32_t count) {
    int32_t number = (int32_t)value;
    if (count) s->c = number >> (count < 32 ? count - 1 : 31) & 1;
    return set_nz(s, (uint32_t)(number >> (count < 32 ? count : 31)));
}

static inline uint32_t rotate_right(core_t *s, uint32_t value, uint32_t count) {
    uint32_t turn = count & 31;
    uint32_t result = turn ? value >> turn | value << (32 - turn) : value;
    if (count) s->c = result >> 31;
    return set_nz(s, result);
}

/* Whether a branch's condition holds; the lowest bit inverts (A6.3). */
static inline bool holds(const core_t *s, uint32_t condition) {
    const bool is_true[] = {s->z, s->c, s->n, s->v, s->c && !s->z, s->n == s->v, s->n == s->v && !s->z};
    return is_true[condition >> 1] ^ (condition & 1);
}
