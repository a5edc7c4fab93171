/* Memories as the core sees them. Null stands for an address that is not plain memory. */

enum {
    BOOTROM_BYTES = 0x4000,
    FLASH_START = 0x10000000,
    FLASH_BYTES = 0x1000000,
    SRAM_START = 0x20000000,
    SRAM_BYTES = 0x42000,
    USB_RAM_START = 0x50100000,
    USB_RAM_BYTES = 0x1000,
};

/* Whether `count` bytes from `address` on lie in a memory. */
static inline bool is_within(uint32_t address, uint32_t count, uint32_t start, uint32_t bytes) {
    return count <= bytes && address - start <= bytes - count;
}

/* Where `count` bytes can be stored. The USB controller must hear of stores to its memory, so that is the package's. */
static inline uint8_t *writable(const core_t *s, uint32_t address, uint32_t count) {
    return is_within(address, count, SRAM_START, SRAM_BYTES) ? s->sram + (address - SRAM_START) : NULL;
}

/* Where `count` bytes can be loaded from. */
static inline const uint8_t *readable(const core_t *s, uint32_t address, uint32_t count) {
    if (is_within(address, count, SRAM_START, SRAM_BYTES)) return s->sram + (address - SRAM_START);
    if (is_within(address, count, FLASH_START, FLASH_BYTES)) return s->flash + (address - FLASH_START);
    if (is_within(address, count, 0, BOOTROM_BYTES)) return s->bootrom + address;
    if (is_within(address, count, USB_RAM_START, USB_RAM_BYTES)) return s->usb_ram + (address - USB_RAM_START);
    return NULL;
}

static inline uint32_t word_at(const uint8_t *place) {
    uint32_t word;
    memcpy(&word, place, sizeof word);
    return word;
}

static inline uint16_t half_at(const uint8_t *place) {
    uint16_t half;
    memcpy(&half, place, sizeof half);
    return half;
}

/* Stop before an access that is the package's to do. */
static inline int leave(core_t *s, uint32_t address, bool is_store) {
    s->stop_address = address;
    s->is_store = is_store;
    return LEAVE;
}
