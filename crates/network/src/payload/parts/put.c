
/* Writes a code at its place, most significant bit first; the place holds zeros. */
static void put(uint8_t *message, size_t offset, unsigned bits, uint64_t code)
{
    unsigned i;

    for (i = 0; i < bits; i++) {
        if ((code >> (bits - 1 - i) & 1u) != 0) {
            message[(offset + i) / 8] |= (uint8_t)(0x80u >> (offset + i) % 8);
        }
    }
}
