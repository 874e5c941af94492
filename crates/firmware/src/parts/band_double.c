
/* The band-pass as second-order sections with numerators 1 - z^-2, in double precision, which this band needs. */
static float band(detector *d, float in)
{
    double u = BAND_GAIN * (double)in;
    uint32_t i;

    for (i = 0; i < SECTIONS; i++) {
        double *before = d->band[i];
        double *after = d->band[i + 1];
        double y = (u - (before[1] + section[i][1] * after[1])) - section[i][0] * after[0];

        before[1] = before[0];
        before[0] = u;
        u = y;
    }
    d->band[SECTIONS][1] = d->band[SECTIONS][0];
    d->band[SECTIONS][0] = u;
    return (float)u;
}
