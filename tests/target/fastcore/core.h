/* A Cortex-M0+ that runs Thumb instructions in the memory of an emulated RP2040.
 *
 * It runs beside PyPI `rp2040py`, on the same registers and memories, and stops before anything that it does not do
 * itself: a peripheral's register, an exception, a special instruction. Python reads this struct's fields from this
 * file, so each is one line "type name;" with a type that state.py knows. */
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

typedef struct core {
    /* Owned by the package: r0 to r12, sp, lr, pc; the memories. */
    uint32_t *r;
    uint8_t *sram;
    uint8_t *flash;
    uint8_t *bootrom;
    uint8_t *usb_ram;

    /* The program status, each flag 0 or 1. */
    uint32_t n;
    uint32_t z;
    uint32_t c;
    uint32_t v;
    uint32_t primask;
    uint32_t ipsr;
    /* Whether an exception waits that PRIMASK = 0 would let in. */
    uint32_t is_pending;
    /* Address of the next instruction. */
    uint32_t next;

    /* Time: when run() began, and the cycles since. run() ends at `limit` cycles. */
    double start_ns;
    double timer_epoch_ns;
    int64_t cycles;
    int64_t limit;
    int64_t instructions;

    /* Why run() stopped short: the address that it wanted. */
    uint32_t stop_address;
    uint32_t is_store;

    /* The hardware divider and spin locks of the SIO block. */
    uint32_t dividend;
    uint32_t divisor;
    uint32_t quotient;
    uint32_t remainder;
    uint32_t divider_status;
    uint32_t spin_locks;

    /* The converter's ring: samples to memory, a block at a time. Addresses of the blocks come from a table. */
    uint32_t is_capturing;
    uint32_t write_address;
    uint32_t left;
    uint32_t block_samples;
    uint32_t table_address;
    uint32_t table_mask;
    double sample_ns;
    double period_ns;
    uint16_t *samples;
    int64_t samples_end;
    int64_t samples_place;
    int64_t conversions;
    int64_t blocks;

    /* The cache before flash: its tags, and what a miss costs. */
    uint32_t *cache;
    uint32_t last_line;
    uint32_t miss_cycles;
    int64_t misses;

    /* What is noted while a capture runs: the lowest stack pointer; blocks whose reading has begun, the address of the
     * next one's first sample, and the most that were complete when the reading of one began. */
    uint32_t stack_least;
    uint32_t next_read;
    int64_t blocks_read;
    int64_t waiting_most;
} core_t;

/* What run() returns. */
enum stop { LIMIT, PACKAGE, NO_SAMPLES, UNALIGNED, ARM_STATE };

/* An instruction's function returns its cycles, or one of these, having changed nothing. */
enum { LEAVE = 0, FAULT_UNALIGNED = -1, FAULT_ARM_STATE = -2 };

enum { SP = 13, LR = 14, PC = 15 };

/* Field of an instruction: `bits` bits from bit `from` on. */
static inline uint32_t field(uint32_t op, int from, int bits) {
    return op >> from & ((1u << bits) - 1);
}

/* A signed field. */
static inline uint32_t signed_field(uint32_t op, int bits) {
    return (uint32_t)((int32_t)(op << (32 - bits)) >> (32 - bits));
}
