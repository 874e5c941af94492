
/* Takes a power into the background; it replaces the oldest. */
static void background_take(detector *d, float power)
{
    d->ring[d->next] = power;
    d->next = d->next + 1 == CELLS ? 0 : d->next + 1;
    d->held += d->held < CELLS ? 1 : 0;
}

/* Level of the mean power of the cells held, summed anew each time: a running sum would keep the rounding of every loud sound. */
static double background_now(const detector *d)
{
    double sum = 0.0;
    uint32_t i;

    for (i = 0; i < d->held; i++) {
        sum += (double)d->ring[i];
    }
    return 10.0 * log10(sum / (double)d->held);
}
