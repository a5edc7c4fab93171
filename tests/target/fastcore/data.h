/* Data processing: everything that works on registers alone and takes one cycle (A5.2.1, A5.2.2). */

/* The program counter as an instruction reads it. */
static inline uint32_t read_register(const core_t *s, uint32_t number) {
    return number == PC ? s->r[PC] + 4 : s->r[number];
}

/* LSLS, LSRS, ASRS by a constant, where 0 stands for 32 in the right shifts. */
static inline int shift_by_constant(core_t *s, uint32_t op) {
    uint32_t value = s->r[field(op, 3, 3)], count = field(op, 6, 5);
    uint32_t *target = &s->r[field(op, 0, 3)];
    switch (field(op, 11, 2)) {
    case 0: *target = shift_left(s, value, count); break;
    case 1: *target = shift_right(s, value, count ? count : 32); break;
    default: *target = shift_right_signed(s, value, count ? count : 32);
    }
    return 1;
}

/* ADDS, SUBS of a register and a register or a constant of three bits. */
static inline int add_or_subtract(core_t *s, uint32_t op) {
    uint32_t value = s->r[field(op, 3, 3)], number = field(op, 6, 3);
    uint32_t operand = field(op, 10, 1) ? number : s->r[number];
    s->r[field(op, 0, 3)] = field(op, 9, 1) ? subtract(s, value, operand) : add_with_carry(s, value, operand, 0);
    return 1;
}

/* MOVS, CMP, ADDS, SUBS with a constant of eight bits. */
static inline int with_constant(core_t *s, uint32_t op) {
    uint32_t *target = &s->r[field(op, 8, 3)], constant = field(op, 0, 8);
    switch (field(op, 11, 2)) {
    case 0: *target = set_nz(s, constant); break;
    case 1: subtract(s, *target, constant); break;
    case 2: *target = add_with_carry(s, *target, constant, 0); break;
    default: *target = subtract(s, *target, constant);
    }
    return 1;
}

/* The sixteen operations on two low registers. */
static inline int with_register(core_t *s, uint32_t op) {
    uint32_t *target = &s->r[field(op, 0, 3)], a = *target, b = s->r[field(op, 3, 3)];
    switch (field(op, 6, 4)) {
    case 0: *target = set_nz(s, a & b); break;
    case 1: *target = set_nz(s, a ^ b); break;
    case 2: *target = shift_left(s, a, b & 255); break;
    case 3: *target = shift_right(s, a, b & 255); break;
    case 4: *target = shift_right_signed(s, a, b & 255); break;
    case 5: *target = add_with_carry(s, a, b, s->c); break;
    case 6: *target = add_with_carry(s, a, ~b, s->c); break;
    case 7: *target = rotate_right(s, a, b & 255); break;
    case 8: set_nz(s, a & b); break;
    case 9: *target = subtract(s, 0, b); break;
    case 10: subtract(s, a, b); break;
    case 11: add_with_carry(s, a, b, 0); break;
    case 12: *target = set_nz(s, a | b); break;
    case 13: *target = set_nz(s, a * b); break;
    case 14: *target = set_nz(s, a & ~b); break;
    default: *target = set_nz(s, ~b);
    }
    return 1;
}

/* Write any register without flags; a write to the program counter is a branch and takes a cycle more. */
static inline int write_register(core_t *s, uint32_t number, uint32_t value) {
    if (number == PC) {
        s->next = value & ~1u;
        return 2;
    }
    s->r[number] = number == SP ? value & ~3u : value;
    return 1;
}

/* ADD, CMP, MOV on any two registers. */
static inline int with_any_register(core_t *s, uint32_t op) {
    uint32_t number = field(op, 7, 1) << 3 | field(op, 0, 3);
    uint32_t a = read_register(s, number), b = read_register(s, field(op, 3, 4));
    switch (field(op, 8, 2)) {
    case 0: return write_register(s, number, a + b);
    case 1: subtract(s, a, b); return 1;
    default: return write_register(s, number, b);
    }
}

/* SXTH, SXTB, UXTH, UXTB. */
static inline int extend(core_t *s, uint32_t op) {
    uint32_t value = s->r[field(op, 3, 3)], *target = &s->r[field(op, 0, 3)];
    switch (field(op, 6, 2)) {
    case 0: *target = signed_field(value, 16); break;
    case 1: *target = signed_field(value, 8); break;
    case 2: *target = field(value, 0, 16); break;
    default: *target = field(value, 0, 8);
    }
    return 1;
}

/* Each half with its bytes exchanged. */
static inline uint32_t swap_in_halves(uint32_t value) {
    return (value >> 8 & 0x00FF00FFu) | (value << 8 & 0xFF00FF00u);
}

/* REV, REV16, REVSH; the fourth encoding is undefined. */
static inline int reverse(core_t *s, uint32_t op) {
    uint32_t swapped = swap_in_halves(s->r[field(op, 3, 3)]), *target = &s->r[field(op, 0, 3)];
    switch (field(op, 6, 2)) {
    case 0: *target = swapped << 16 | swapped >> 16; return 1;
    case 1: *target = swapped; return 1;
    case 3: *target = signed_field(swapped, 16); return 1;
    default: return leave(s, 0, false);
    }
}

/* ADR; ADD to a low register from the stack pointer. */
static inline int add_to_base(core_t *s, uint32_t op) {
    uint32_t base = field(op, 11, 1) ? s->r[SP] : (s->r[PC] + 4) & ~3u;
    s->r[field(op, 8, 3)] = base + (field(op, 0, 8) << 2);
    return 1;
}

/* ADD, SUB on the stack pointer. */
static inline int move_stack(core_t *s, uint32_t op) {
    uint32_t bytes = field(op, 0, 7) << 2;
    s->r[SP] += field(op, 7, 1) ? -bytes : bytes;
    return 1;
}
