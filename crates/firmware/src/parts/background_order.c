
/* Takes a level into the background: it replaces the oldest, and the levels stay in order. */
static void background_take(detector *d, float level)
{
    uint32_t at;

    if (d->held == CELLS) {
        float oldest = d->ring[d->next];

        at = 0;
        while (d->ordered[at] < oldest) {
            at += 1;
        }
        d->held -= 1;
        for (; at < d->held; at++) {
            d->ordered[at] = d->ordered[at + 1];
        }
    }
    at = d->held;
    while (at > 0 && d->ordered[at - 1] > level) {
        d->ordered[at] = d->ordered[at - 1];
        at -= 1;
    }
    d->ordered[at] = level;
    d->held += 1;
    d->ring[d->next] = level;
    d->next = d->next + 1 == CELLS ? 0 : d->next + 1;
}
