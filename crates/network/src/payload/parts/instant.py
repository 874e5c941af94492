def _instant(name, code, bits, step_ns, epoch_ns, received_ns):
    now = (received_ns - epoch_ns) // step_ns
    ahead = (code - now) % (1 << bits)
    if ahead >= 1 << (bits - 1):
        ahead -= 1 << bits
    instant = epoch_ns + (now + ahead) * step_ns
    if not -(1 << 63) <= instant < 1 << 63:
        raise ValueError(f"instant: {name} is outside of the years 1677 to 2262")
    return instant
