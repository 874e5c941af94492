
/* Mean over the window of the energies of three neighbours (J. F. Kaiser 1990); that of a sample is known with the next one. */
static bool measure(detector *d, float x, uint64_t *k, double *mean)
{
    double energy = (double)d->last[0] * (double)d->last[0] - (double)d->last[1] * (double)x;

    d->last[1] = d->last[0];
    d->last[0] = x;
    if (d->neighbours < 2) {
        d->neighbours += 1;
        return false;
    }
    if (!window_mean(d, (float)energy, k, mean)) {
        return false;
    }
    *mean = *mean < 0.0 ? 0.0 : *mean;
    return true;
}
