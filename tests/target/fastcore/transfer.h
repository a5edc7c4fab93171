/* Loads and stores (A5.2.4, A6.7). Memory takes two cycles, and one for each register of a list. */

enum { MEMORY_CYCLES = 2 };

/* A load that no memory answers: a word of the SIO or the timer, or the core's number whose width does not matter. */
static inline int load_device(core_t *s, uint32_t address, uint32_t bytes, uint32_t *target) {
    bool is_read = bytes == 4 || address == CPU_ID;
    if (is_read && load_sio(s, address, target)) return SIO_CYCLES;
    if (bytes != 4 || (address != TIMER_LOW && address != TIMER_HIGH)) return leave(s, address, false);
    *target = (uint32_t)(timer_us(s) >> (address == TIMER_HIGH ? 32 : 0));
    return TIMER_CYCLES;
}

static inline int load(core_t *s, uint32_t address, uint32_t bytes, bool is_signed, uint32_t *target) {
    if (address & (bytes - 1)) return FAULT_UNALIGNED;
    const uint8_t *place = readable(s, address, bytes);
    if (!place) return load_device(s, address, bytes, target);
    touch(s, address);
    watch_load(s, address);
    uint32_t value = bytes == 4 ? word_at(place) : bytes == 2 ? half_at(place) : *place;
    *target = is_signed ? signed_field(value, 8 * (int)bytes) : value;
    return MEMORY_CYCLES;
}

static inline int store(core_t *s, uint32_t address, uint32_t bytes, uint32_t value) {
    if (address & (bytes - 1)) return FAULT_UNALIGNED;
    uint8_t *place = writable(s, address, bytes);
    if (!place) return bytes == 4 && store_sio(s, address, value) ? SIO_CYCLES : leave(s, address, true);
    memcpy(place, &value, bytes);
    return MEMORY_CYCLES;
}

/* STR, STRH, STRB, LDRSB, LDR, LDRH, LDRB, LDRSH at the sum of two registers. */
static inline int at_sum(core_t *s, uint32_t op) {
    static const uint8_t bytes[] = {4, 2, 1, 1, 4, 2, 1, 2};
    uint32_t address = s->r[field(op, 3, 3)] + s->r[field(op, 6, 3)], *target = &s->r[field(op, 0, 3)];
    uint32_t kind = field(op, 9, 3);
    if (kind < 3) return store(s, address, bytes[kind], *target);
    return load(s, address, bytes[kind], kind == 3 || kind == 7, target);
}

/* Loads and stores at a register and a constant in units of the width. */
static inline int at_offset(core_t *s, uint32_t op, uint32_t bytes) {
    uint32_t address = s->r[field(op, 3, 3)] + field(op, 6, 5) * bytes, *target = &s->r[field(op, 0, 3)];
    return field(op, 11, 1) ? load(s, address, bytes, false, target) : store(s, address, bytes, *target);
}

/* LDR, STR in the stack. */
static inline int in_stack(core_t *s, uint32_t op) {
    uint32_t address = s->r[SP] + (field(op, 0, 8) << 2), *target = &s->r[field(op, 8, 3)];
    return field(op, 11, 1) ? load(s, address, 4, false, target) : store(s, address, 4, *target);
}

/* LDR of a constant behind the code. */
static inline int literal(core_t *s, uint32_t op) {
    return load(s, ((s->r[PC] + 4) & ~3u) + (field(op, 0, 8) << 2), 4, false, &s->r[field(op, 8, 3)]);
}

/* Registers of a list, lowest first, to memory; where the list has a bit 8 it is lr. */
static inline void store_list(core_t *s, uint8_t *place, uint32_t list) {
    for (uint32_t number = 0; list; number++, list >>= 1) {
        if (!(list & 1)) continue;
        memcpy(place, &s->r[number == 8 ? LR : number], 4);
        place += 4;
    }
}

static inline void load_list(core_t *s, const uint8_t *place, uint32_t list) {
    for (uint32_t number = 0; list; number++, list >>= 1) {
        if (!(list & 1)) continue;
        s->r[number] = word_at(place);
        place += 4;
    }
}

static inline int push(core_t *s, uint32_t op) {
    uint32_t list = field(op, 0, 9), count = (uint32_t)__builtin_popcount(list);
    uint32_t address = s->r[SP] - 4 * count;
    uint8_t *place = writable(s, address, 4 * count);
    if (!list || !place) return leave(s, address, true);
    store_list(s, place, list);
    s->r[SP] = address;
    return 1 + (int)count;
}

/* Whether a branch to this address ends an exception, which is the package's to do. */
static inline bool is_exception_return(const core_t *s, uint32_t address) {
    return s->ipsr && address >> 28 == 15;
}

/* POP, with the program counter or without: that costs two cycles more and is a branch. */
static inline int pop(core_t *s, uint32_t op) {
    uint32_t list = field(op, 0, 8), count = (uint32_t)__builtin_popcount(list), has_pc = field(op, 8, 1);
    uint32_t address = s->r[SP], bytes = 4 * (count + has_pc);
    const uint8_t *place = readable(s, address, bytes);
    if (!bytes || !place) return leave(s, address, false);
    if (has_pc) {
        uint32_t target = word_at(place + 4 * count);
        if (is_exception_return(s, target)) return leave(s, 0, false);
        if (!(target & 1)) return FAULT_ARM_STATE;
        s->next = target & ~1u;
    }
    load_list(s, place, list);
    s->r[SP] = address + bytes;
    return 1 + (int)count + (has_pc ? 2 : 0);
}
