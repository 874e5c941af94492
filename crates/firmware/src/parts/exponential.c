
/* Running mean of the squares (IEC 61672-1), read at the last sample of each hop. In double precision: what one sample adds to a slow mean is lost in single. */
static bool measure(detector *d, float x, uint64_t *k, double *mean)
{
    d->mean = KEEP * d->mean + TAKE * ((double)x * (double)x);
    if (d->mean < 1e-30) {
        d->mean = 0.0;
    }
    d->taken += 1;
    if (d->taken < HOP) {
        return false;
    }
    d->taken = 0;
    *k = d->hop;
    *mean = d->mean;
    d->hop += 1;
    return true;
}
