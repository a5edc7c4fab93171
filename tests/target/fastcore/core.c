/* Runs instructions until a limit of cycles or something that is not done here. Built and called by Python. */
#include "core.h"
#include "memory.h"
#include "cache.h"
#include "watch.h"
#include "alu.h"
#include "data.h"
#include "sio.h"
#include "transfer.h"
#include "lists.h"
#include "branch.h"
#include "ring.h"

/* 0x4000 to 0x47FF. */
static inline int registers(core_t *s, uint32_t op) {
    if (!field(op, 10, 1)) return with_register(s, op);
    return field(op, 8, 2) == 3 ? branch_to_register(s, op) : with_any_register(s, op);
}

/* Do one instruction by its first five bits (A5.2). */
static inline int execute(core_t *s, uint32_t op) {
    switch (op >> 11) {
    case 0: case 1: case 2: return shift_by_constant(s, op);
    case 3: return add_or_subtract(s, op);
    case 4: case 5: case 6: case 7: return with_constant(s, op);
    case 8: return registers(s, op);
    case 9: return literal(s, op);
    case 10: case 11: return at_sum(s, op);
    case 12: case 13: return at_offset(s, op, 4);
    case 14: case 15: return at_offset(s, op, 1);
    case 16: case 17: return at_offset(s, op, 2);
    case 18: case 19: return in_stack(s, op);
    case 20: case 21: return add_to_base(s, op);
    case 22: case 23: return miscellaneous(s, op);
    case 24: return store_multiple(s, op);
    case 25: return load_multiple(s, op);
    case 26: case 27: return branch_if(s, op);
    case 28: return branch_always(s, op);
    case 30: return wide(s, op);
    default: return leave(s, 0, false);
    }
}

static inline int stop_of(int result) {
    return result == LEAVE ? PACKAGE : result == FAULT_UNALIGNED ? UNALIGNED : ARM_STATE;
}

/* Run up to `limit` cycles. */
static inline int run_to(core_t *s, int64_t limit) {
    while (s->cycles < limit) {
        const uint8_t *place = readable(s, s->r[PC], 2);
        if (!place) return leave(s, 0, false), PACKAGE;
        s->next = s->r[PC] + 2;
        touch(s, s->r[PC]);
        int result = execute(s, half_at(place));
        if (result <= 0) return stop_of(result);
        s->r[PC] = s->next;
        s->cycles += result;
        s->instructions++;
        watch_stack(s);
    }
    return LIMIT;
}

/* Run up to s->limit cycles, with each sample of a capture stored at its time. Returns why it stopped. */
int run(core_t *s) {
    s->cycles = 0;
    /* An exception's vector and a branch's target carry the Thumb bit. */
    s->r[PC] &= ~1u;
    while (s->cycles < s->limit) {
        int64_t due = s->is_capturing ? cycles_to_sample(s) : s->limit;
        int stop = run_to(s, due < s->limit ? due : s->limit);
        if (stop != LIMIT) return stop;
        if (!store_samples(s, now_ns(s))) return NO_SAMPLES;
    }
    return LIMIT;
}

/* Let a capture go on until a time while the core sleeps; 0 where samples are wanting. */
int capture_until(core_t *s, double until_ns) {
    return store_samples(s, until_ns);
}

/* The struct's size, for Python to check its own against. */
int64_t core_bytes(void) {
    return sizeof(core_t);
}
