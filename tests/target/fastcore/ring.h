/* The converter's samples on their way to memory, as two DMA channels move them: the first writes a block, the
 * second hands it the next block's address from a table that is read round and round. */

static inline double now_ns(const core_t *s) {
    return s->start_ns + 8.0 * (double)s->cycles;
}

/* Cycles from run()'s start to the first instruction boundary at which the next sample is complete. */
static inline int64_t cycles_to_sample(const core_t *s) {
    double cycles = (s->sample_ns - s->start_ns) / 8.0;
    int64_t whole = (int64_t)cycles;
    return (double)whole < cycles ? whole + 1 : whole;
}

/* The second channel's one transfer. */
static inline void next_block(core_t *s) {
    s->write_address = word_at(readable(s, s->table_address, 4));
    s->table_address = (s->table_address & ~s->table_mask) | ((s->table_address + 4) & s->table_mask);
    s->left = s->block_samples;
    s->blocks++;
}

static inline void store_sample(core_t *s) {
    uint8_t *place = writable(s, s->write_address, 2);
    if (place) memcpy(place, &s->samples[s->samples_place], 2);
    s->samples_place++;
    s->conversions++;
    s->write_address += 2;
    s->sample_ns += s->period_ns;
    if (--s->left == 0) next_block(s);
}

/* Store every sample that is complete by a time; whether there were enough. */
static inline bool store_samples(core_t *s, double until_ns) {
    while (s->is_capturing && s->sample_ns <= until_ns) {
        if (s->samples_place >= s->samples_end) return false;
        store_sample(s);
    }
    return true;
}
