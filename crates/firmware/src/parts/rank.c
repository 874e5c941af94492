
/* The level at its rank among those held. */
static double background_now(const detector *d)
{
    double rank = ceil(RANK * (double)d->held - 1e-9);
    uint32_t at = rank < 1.0 ? 0 : (uint32_t)rank - 1;

    return (double)d->ordered[at < d->held ? at : d->held - 1];
}
