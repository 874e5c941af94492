
static void trigger_begin(detector *d, const cell *c)
{
    d->told_onset = false;
    d->confirmed = false;
    d->begin = c->begin;
    d->end = c->begin + TILE;
    d->peak_level_db = c->level_db;
    d->energy = c->power;
    d->cells = 1;
    d->dip_energy = 0.0;
    d->dip_cells = 0;
    d->peak = c->begin + TILE / 2;
    d->background_db = c->background_db;
    d->score_db = EXCESS(c->value_db);
}

static void trigger_extend(detector *d, const cell *c)
{
    d->end = c->begin + TILE;
    if (c->level_db > d->peak_level_db) {
        d->peak_level_db = c->level_db;
        d->peak = c->begin + TILE / 2;
    }
    d->energy += d->dip_energy + c->power;
    d->cells += d->dip_cells + 1;
    d->dip_energy = 0.0;
    d->dip_cells = 0;
    if (EXCESS(c->value_db) > d->score_db) {
        d->score_db = EXCESS(c->value_db);
    }
}

static void trigger_dip(detector *d, const cell *c)
{
    d->dip_energy += c->power;
    d->dip_cells += 1;
}

/* What a cell that belongs to an open sound gives cause to tell. */
static void trigger_follow(detector *d, const cell *c, told_one tell, void *with)
{
    uint64_t length = d->end - d->begin;

    d->state = FOLLOWING;
    if (length > LONGEST) {
        if (d->told_onset) {
            tell_one(DROPPED, d->id, c->known_at, TOO_LONG, tell, with);
        }
        d->state = OVERLONG;
        return;
    }
    if (!d->told_onset && c->begin >= d->hold_until) {
        d->told_onset = true;
        d->id = d->next_id;
        d->next_id += 1;
        tell_one(ONSET, d->id, c->known_at, 0, tell, with);
    }
    if (CONFIRMS_EARLY && d->told_onset && !d->confirmed && length >= SHORTEST) {
        d->confirmed = true;
        tell_one(CONFIRMED, d->id, c->known_at, 0, tell, with);
    }
}

static void trigger_ended(detector *d, uint64_t known_at, bool cut, told_one tell, void *with)
{
    told t;

    tell_of(d, known_at, (double)d->cells, cut, &t);
    tell(with, &t);
}

/* An open sound is over. */
static void trigger_close(detector *d, uint64_t known_at, told_one tell, void *with)
{
    if (!d->told_onset) {
        return;
    }
    if (d->end - d->begin < SHORTEST) {
        tell_one(DROPPED, d->id, known_at, TOO_SHORT, tell, with);
        return;
    }
    if (!d->confirmed) {
        tell_one(CONFIRMED, d->id, known_at, 0, tell, with);
    }
    trigger_ended(d, known_at, false, tell, with);
    d->hold_until = d->end + HOLD_OFF;
}

/* A value that is not known is quiet: comparisons with NAN are false. */
static void decide(detector *d, const cell *c, told_one tell, void *with)
{
    bool goes_on = c->value_db >= OFF_BELOW_DB;

    if (d->state == FOLLOWING) {
        if (goes_on) {
            trigger_extend(d, c);
            trigger_follow(d, c, tell, with);
        } else if (c->begin + TILE - d->end >= BRIDGE) {
            d->state = QUIET_NOW;
            trigger_close(d, c->known_at, tell, with);
        } else {
            trigger_dip(d, c);
        }
    } else if (d->state == OVERLONG) {
        if (goes_on) {
            d->end = c->begin + TILE;
        } else if (c->begin + TILE - d->end >= BRIDGE) {
            d->state = QUIET_NOW;
            if (d->confirmed) {
                d->hold_until = d->end + HOLD_OFF;
            }
        }
    } else if (trigger_wait(d, c)) {
        trigger_follow(d, c, tell, with);
    }
}

static void decide_end(detector *d, uint64_t known_at, told_one tell, void *with)
{
    if (d->state == FOLLOWING && d->told_onset) {
        if (d->confirmed) {
            trigger_ended(d, known_at, true, tell, with);
        } else {
            tell_one(DROPPED, d->id, known_at, STRETCH_ENDED, tell, with);
        }
    }
}
