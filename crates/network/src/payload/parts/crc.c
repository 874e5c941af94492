
/* CRC-16/CCITT-FALSE. */
static unsigned crc16(const uint8_t *bytes, size_t length)
{
    unsigned crc = 0xFFFFu;
    size_t i;
    int bit;

    for (i = 0; i < length; i++) {
        crc ^= (unsigned)bytes[i] << 8;
        for (bit = 0; bit < 8; bit++) {
            crc = ((crc & 0x8000u) != 0 ? crc << 1 ^ 0x1021u : crc << 1) & 0xFFFFu;
        }
    }
    return crc;
}
