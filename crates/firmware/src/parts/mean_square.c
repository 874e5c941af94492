
/* Mean of the squares over the window. */
static bool measure(detector *d, float x, uint64_t *k, double *mean)
{
    return window_mean(d, x * x, k, mean);
}
