
/* Whether a cell completes the begin of a sound: so many of the latest cells at or above the threshold. */
static bool trigger_wait(detector *d, const cell *c)
{
    bool hit = c->value_db >= ON_ABOVE_DB;
    bool open = false;
    uint32_t hits = 0;
    uint32_t i;

    if (d->recents == OF_LAST) {
        for (i = 1; i < OF_LAST; i++) {
            d->recent[i - 1] = d->recent[i];
        }
        d->recents -= 1;
    }
    d->recent[d->recents] = *c;
    d->recents += 1;
    for (i = 0; i < d->recents; i++) {
        hits += d->recent[i].value_db >= ON_ABOVE_DB ? 1 : 0;
    }
    if (!hit || hits < AT_LEAST) {
        return false;
    }
    for (i = 0; i < d->recents; i++) {
        const cell *one = &d->recent[i];

        if (!open) {
            if (one->value_db >= ON_ABOVE_DB) {
                trigger_begin(d, one);
                open = true;
            }
        } else if (one->value_db >= OFF_BELOW_DB) {
            trigger_extend(d, one);
        } else {
            trigger_dip(d, one);
        }
    }
    d->recents = 0;
    return true;
}
