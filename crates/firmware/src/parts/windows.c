
/* Sums of a window, one value of a band sample after another: each hop is cut into a head and a tail, a window is whole hops and one head more. Gives the mean of the window that the value completes. */
static bool window_mean(detector *d, float value, uint64_t *k, double *mean)
{
    uint32_t i;
    double total = 0.0;
    bool head;

    if (d->skip > 0) {
        d->skip -= 1;
        return false;
    }
    d->some += value;
    d->in_some += 1;
    d->taken += 1;
    head = d->taken == HEAD;
    /* Single precision for few values, double for many: a long sum loses nothing. */
    if (d->in_some == SOME || head || d->taken == HOP) {
        d->sum += (double)d->some;
        d->some = 0.0f;
        d->in_some = 0;
    }
    if (!head && d->taken < HOP) {
        return false;
    }
    d->parts[d->place][head ? 0 : 1] = d->sum;
    d->sum = 0.0;
    if (!head) {
        d->taken = 0;
        d->hop += 1;
        d->whole += d->whole < HOPS ? 1 : 0;
        d->place = d->place == HOPS ? 0 : d->place + 1;
    }
    if (d->whole < HOPS || head != (HEAD > 0)) {
        return false;
    }
    for (i = 0; i < HOPS; i++) {
        uint32_t one = d->place + 1 + i;

        one = one > HOPS ? one - (HOPS + 1) : one;
        total += d->parts[one][0] + d->parts[one][1];
    }
    if (head) {
        total += d->parts[d->place][0];
    }
    *k = d->hop - HOPS;
    *mean = total / (double)WINDOW;
    return true;
}
