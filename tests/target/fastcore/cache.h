/* What stands between the core and flash: 16 kB of lines of 8 bytes, two ways, each hit in its own cycle (RP2040
 * Datasheet, 2.6.3). Which way a miss takes is not told there; here it is the one used longer ago. Without tags
 * (null) flash answers at once. */

enum { CACHE_SETS = 1024, LINE_BITS = 3 };

static inline void fetch_line(core_t *s, uint32_t line) {
    s->last_line = line;
    uint32_t *ways = s->cache + 2 * (line & (CACHE_SETS - 1));
    if (ways[0] == line) return;
    if (ways[1] != line) {
        s->misses++;
        s->cycles += s->miss_cycles;
    }
    ways[1] = ways[0];
    ways[0] = line;
}

/* Let the time pass that a read from this address takes beyond its hit. */
static inline void touch(core_t *s, uint32_t address) {
    uint32_t line = address >> LINE_BITS;
    if (s->cache && address - FLASH_START < FLASH_BYTES && line != s->last_line) fetch_line(s, line);
}
