
/* The background before a cell, NAN while it is not known; then the cell is taken in, behind the guard. */
static double background_before(detector *d, float taken)
{
    double now = NAN;

    if (2 * d->held >= CELLS) {
        now = background_now(d);
        /* A statistic of silence is no background. */
        now = now - now == 0.0 ? now : NAN;
    }
BACKGROUND_TAKES
    return now;
}
