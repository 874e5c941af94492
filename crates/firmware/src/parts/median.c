
/* The median of the levels held; of an even number the mean of the middle two. */
static double background_now(const detector *d)
{
    float low = d->ordered[(d->held + 1) / 2 - 1];
    float high = d->ordered[d->held / 2];

    return low < high ? 0.5 * ((double)low + (double)high) : (double)low;
}
