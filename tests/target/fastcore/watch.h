/* What is noted of the program while a capture runs: the stack's lowest end, and how far the program is behind. */

static inline void watch_stack(core_t *s) {
    if (s->r[SP] < s->stack_least && s->is_capturing) s->stack_least = s->r[SP];
}

/* A load: where it is of the first sample of the block that comes next, the program begins to read that block. */
static inline void watch_load(core_t *s, uint32_t address) {
    if (address != s->next_read || !s->is_capturing) return;
    int64_t waiting = s->blocks - s->blocks_read++;
    if (waiting > s->waiting_most) s->waiting_most = waiting;
    uint32_t base = s->table_address & ~s->table_mask, index = 4 * (uint32_t)s->blocks_read;
    s->next_read = word_at(readable(s, base + (index & s->table_mask), 4));
}
