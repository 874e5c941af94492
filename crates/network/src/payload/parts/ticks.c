
/* Whole steps in a time, rounded down, and what is left. */
static int64_t split(int64_t time_ns, int64_t step_ns, int64_t *left_ns)
{
    int64_t whole = time_ns / step_ns;

    *left_ns = time_ns % step_ns;
    if (*left_ns < 0) {
        *left_ns += step_ns;
        whole--;
    }
    return whole;
}

/* Whole steps from the epoch to an instant, rounded down, modulo 2^64. */
static uint64_t ticks_of(int64_t time_ns, int64_t step_ns, int64_t epoch_ns)
{
    int64_t left_ns, epoch_left_ns;
    uint64_t whole = (uint64_t)split(time_ns, step_ns, &left_ns) - (uint64_t)split(epoch_ns, step_ns, &epoch_left_ns);

    return left_ns < epoch_left_ns ? whole - 1 : whole;
}

/* The instant of a code that is nearest to the time of reception; false when 64 bits do not hold it. */
static bool instant_of(uint64_t code, unsigned bits, int64_t step_ns, int64_t epoch_ns, int64_t received_ns, int64_t *time_ns)
{
    uint64_t mask = UINT64_MAX >> (64 - bits);
    uint64_t ahead = (code - ticks_of(received_ns, step_ns, epoch_ns)) & mask;
    uint64_t step = (uint64_t)step_ns, instant, room, first;
    int64_t left_ns, epoch_left_ns;

    (void)split(received_ns, step_ns, &left_ns);
    (void)split(epoch_ns, step_ns, &epoch_left_ns);
    /* Since the beginning of the step of reception. */
    first = (uint64_t)(left_ns >= epoch_left_ns ? left_ns - epoch_left_ns : left_ns - epoch_left_ns + step_ns);
    if (ahead != 0 && ahead < UINT64_C(1) << (bits - 1)) {
        room = (uint64_t)INT64_MAX - (uint64_t)received_ns;
        first = step - first;
        ahead--;
        if (first > room || ahead > (room - first) / step) {
            return false;
        }
        instant = (uint64_t)received_ns + first + ahead * step;
    } else {
        ahead = (0 - ahead) & mask;
        room = (uint64_t)received_ns - (uint64_t)INT64_MIN;
        if (first > room || ahead > (room - first) / step) {
            return false;
        }
        instant = (uint64_t)received_ns - first - ahead * step;
    }
    *time_ns = instant <= (uint64_t)INT64_MAX ? (int64_t)instant : -(int64_t)(UINT64_MAX - instant) - 1;
    return true;
}
