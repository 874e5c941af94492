
/* Reads a code from its place. */
static uint64_t take(const uint8_t *message, size_t offset, unsigned bits)
{
    uint64_t code = 0;
    unsigned i;

    for (i = 0; i < bits; i++) {
        code = code << 1 | (message[(offset + i) / 8] >> (7 - (offset + i) % 8) & 1u);
    }
    return code;
}
