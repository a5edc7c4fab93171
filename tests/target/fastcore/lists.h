/* LDM and STM. The base register counts on, but not where a load's list holds it. */

/* Whether a list of words lies within the divider's registers, which programs save and restore as one. */
static inline bool is_divider(uint32_t address, uint32_t count) {
    return is_within(address, 4 * count, UNSIGNED_DIVIDEND, DIVIDER_STATUS - UNSIGNED_DIVIDEND) && !(address & 3);
}

static inline void store_divider(core_t *s, uint32_t address, uint32_t list) {
    for (uint32_t number = 0; list; number++, list >>= 1) {
        if (!(list & 1)) continue;
        store_sio(s, address, s->r[number]);
        address += 4;
    }
}

static inline void load_divider(core_t *s, uint32_t address, uint32_t list) {
    for (uint32_t number = 0; list; number++, list >>= 1) {
        if (!(list & 1)) continue;
        load_sio(s, address, &s->r[number]);
        address += 4;
    }
}

static inline int store_multiple(core_t *s, uint32_t op) {
    uint32_t base = field(op, 8, 3), list = field(op, 0, 8), count = (uint32_t)__builtin_popcount(list);
    uint32_t address = s->r[base];
    uint8_t *place = writable(s, address, 4 * count);
    /* What is stored of a base that is not the list's first register is unknown. */
    if (!list || list & ((1u << base) - 1) & -(list >> base & 1)) return leave(s, address, true);
    if (address & 3) return FAULT_UNALIGNED;
    if (place) store_list(s, place, list);
    else if (is_divider(address, count)) store_divider(s, address, list);
    else return leave(s, address, true);
    s->r[base] = address + 4 * count;
    return 1 + (int)count;
}

static inline int load_multiple(core_t *s, uint32_t op) {
    uint32_t base = field(op, 8, 3), list = field(op, 0, 8), count = (uint32_t)__builtin_popcount(list);
    uint32_t address = s->r[base];
    const uint8_t *place = readable(s, address, 4 * count);
    if (!list) return leave(s, address, false);
    if (address & 3) return FAULT_UNALIGNED;
    if (place) {
        for (uint32_t word = 0; word < count; word++) touch(s, address + 4 * word);
        load_list(s, place, list);
    } else if (is_divider(address, count)) load_divider(s, address, list);
    else return leave(s, address, false);
    if (!(list >> base & 1)) s->r[base] = address + 4 * count;
    return 1 + (int)count;
}
