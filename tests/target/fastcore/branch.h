/* Branches, and the special instructions that need no exception (A5.2.5, A5.2.6, A5.3). */

enum { CPSIE = 0xB662, CPSID = 0xB672, NOP = 0xBF00 };
enum { SYSM_IPSR = 5, SYSM_PRIMASK = 16 };
enum { SPECIAL_CYCLES = 3 };

static inline int branch(core_t *s, uint32_t target, int cycles) {
    s->next = target;
    return cycles;
}

/* BX, BLX. To an even address the core would leave Thumb state, which it cannot. */
static inline int branch_to_register(core_t *s, uint32_t op) {
    uint32_t number = field(op, 3, 4), target = s->r[number];
    if (number == PC || field(op, 0, 3) || is_exception_return(s, target)) return leave(s, 0, false);
    if (!(target & 1)) return FAULT_ARM_STATE;
    if (field(op, 7, 1)) s->r[LR] = (s->r[PC] + 2) | 1;
    return branch(s, target & ~1u, 2);
}

static inline int branch_if(core_t *s, uint32_t op) {
    uint32_t condition = field(op, 8, 4);
    if (condition >= 14) return leave(s, 0, false);
    return holds(s, condition) ? branch(s, s->r[PC] + 4 + 2 * signed_field(op, 8), 2) : 1;
}

static inline int branch_always(core_t *s, uint32_t op) {
    return branch(s, s->r[PC] + 4 + 2 * signed_field(op, 11), 2);
}

/* BL: a distance of 25 bits in two halves, two of its bits mixed with the sign. */
static inline int branch_and_link(core_t *s, uint32_t op, uint32_t second) {
    uint32_t sign = field(op, 10, 1);
    uint32_t i1 = !(field(second, 13, 1) ^ sign), i2 = !(field(second, 11, 1) ^ sign);
    uint32_t distance = sign << 24 | i1 << 23 | i2 << 22 | field(op, 0, 10) << 12 | field(second, 0, 11) << 1;
    s->r[LR] = (s->r[PC] + 4) | 1;
    return branch(s, s->r[PC] + 4 + signed_field(distance, 25), 3);
}

/* Set PRIMASK; where that lets a waiting exception in, the package does it. */
static inline int mask_interrupts(core_t *s, uint32_t value, int cycles) {
    if (!value && s->is_pending) return leave(s, 0, false);
    s->primask = value;
    return cycles;
}

/* MRS of PRIMASK and IPSR. */
static inline int read_special(core_t *s, uint32_t second) {
    uint32_t which = field(second, 0, 8), target = field(second, 8, 4);
    if ((which != SYSM_PRIMASK && which != SYSM_IPSR) || target == SP || target == PC) return leave(s, 0, false);
    s->r[target] = which == SYSM_IPSR ? s->ipsr : s->primask;
    return SPECIAL_CYCLES;
}

/* The instructions of two halves. */
static inline int wide(core_t *s, uint32_t op) {
    const uint8_t *place = readable(s, s->r[PC] + 2, 2);
    if (!place) return leave(s, 0, false);
    uint32_t second = half_at(place);
    if ((second & 0xD000) == 0xD000) return branch_and_link(s, op, second);
    s->next += 2;
    /* DSB, DMB, ISB */
    if (op == 0xF3BF && second >= 0x8F40 && second < 0x8F70) return SPECIAL_CYCLES;
    if (op == 0xF3EF && second >> 12 == 8) return read_special(s, second);
    if ((op & 0xFFF0) == 0xF380 && second == (0x8800 | SYSM_PRIMASK) && (op & 15) < SP)
        return mask_interrupts(s, s->r[op & 15] & 1, SPECIAL_CYCLES);
    return leave(s, 0, false);
}

/* 0xB000 to 0xBFFF. */
static inline int miscellaneous(core_t *s, uint32_t op) {
    switch (field(op, 8, 4)) {
    case 0: return move_stack(s, op);
    case 2: return extend(s, op);
    case 4: case 5: return push(s, op);
    case 10: return reverse(s, op);
    case 12: case 13: return pop(s, op);
    }
    if (op == CPSIE || op == CPSID) return mask_interrupts(s, op == CPSID, 1);
    return op == NOP ? 1 : leave(s, 0, false);
}
