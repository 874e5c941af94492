
static void train_end(detector *d, uint64_t known_at, bool cut, told_one tell, void *with)
{
    told t;

    d->open = false;
    if (!d->told_onset) {
        return;
    }
    if (!d->confirmed) {
        tell_one(DROPPED, d->id, known_at, cut ? STRETCH_ENDED : TOO_FEW_PULSES, tell, with);
        return;
    }
    tell_of(d, known_at, (double)d->pulses, cut, &t);
    t.pulses = d->pulses;
    if (d->intervals > 0.0) {
        t.interval_mean_s = d->interval_mean / RATE_HZ;
        t.interval_spread = sqrt(d->interval_squares / d->intervals) / d->interval_mean;
    }
    tell(with, &t);
    d->hold_until = d->end + HOLD_OFF;
}

static void pulse(detector *d, const cell *peak, uint64_t known_at, told_one tell, void *with)
{
    double excess_db = peak->level_db - peak->background_db;
    uint64_t interval;
    double before;

    if (d->open && peak->begin - d->last_begin > MAX_INTERVAL) {
        train_end(d, known_at, false, tell, with);
    }
    if (d->open) {
        interval = peak->begin - d->last_begin;
        if (interval < MIN_INTERVAL) {
            return;
        }
        /* Mean and sum of squared distances from it, one after another. */
        d->intervals += 1.0;
        before = (double)interval - d->interval_mean;
        d->interval_mean += before / d->intervals;
        d->interval_squares += before * ((double)interval - d->interval_mean);
        if (d->last_interval > 0) {
            uint64_t apart = interval > d->last_interval ? interval - d->last_interval : d->last_interval - interval;

            d->steady_pairs = (double)apart <= STEADY * (double)d->last_interval ? d->steady_pairs + 1 : 0;
        }
        d->last_interval = interval;
        d->last_begin = peak->begin;
        d->end = peak->begin + TILE;
        d->pulses += 1;
        if (peak->level_db > d->peak_level_db) {
            d->peak_level_db = peak->level_db;
            d->peak = peak->begin + TILE / 2;
        }
        d->energy += peak->power;
        d->score_db = excess_db > d->score_db ? excess_db : d->score_db;
    } else {
        d->open = true;
        d->told_onset = false;
        d->confirmed = false;
        d->begin = peak->begin;
        d->last_begin = peak->begin;
        d->end = peak->begin + TILE;
        d->pulses = 1;
        d->intervals = 0.0;
        d->interval_mean = 0.0;
        d->interval_squares = 0.0;
        d->last_interval = 0;
        d->steady_pairs = 0;
        d->peak = peak->begin + TILE / 2;
        d->peak_level_db = peak->level_db;
        d->energy = peak->power;
        d->background_db = peak->background_db;
        d->score_db = excess_db;
        d->latest_held = 0;
        d->latest_next = 0;
    }
    d->latest[d->latest_next] = peak->begin;
    d->latest_next = d->latest_next + 1 == AT_LEAST ? 0 : d->latest_next + 1;
    d->latest_held += d->latest_held < AT_LEAST ? 1 : 0;
    if (!d->told_onset && peak->begin >= d->hold_until) {
        d->told_onset = true;
        d->id = d->next_id;
        d->next_id += 1;
        tell_one(ONSET, d->id, known_at, 0, tell, with);
    }
    /* With all places held the next one is the oldest. */
    if (d->told_onset && !d->confirmed && d->latest_held == AT_LEAST && peak->begin - d->latest[d->latest_next] <= WITHIN && (!IS_STEADY || d->steady_pairs + 2 >= AT_LEAST)) {
        d->confirmed = true;
        tell_one(CONFIRMED, d->id, known_at, 0, tell, with);
    }
}

/* Follows the level from turn to turn; a peak comes out when the level has fallen far enough below it. */
static bool turn(detector *d, const cell *c, cell *peak)
{
    if (!d->rising) {
        if (c->level_db - d->lowest_db >= PROMINENCE_DB) {
            d->rising = true;
            d->highest = *c;
        } else if (c->level_db < d->lowest_db) {
            d->lowest_db = c->level_db;
        }
        return false;
    }
    if (c->level_db > d->highest.level_db) {
        d->highest = *c;
        return false;
    }
    if (d->highest.level_db - c->level_db >= PROMINENCE_DB) {
        *peak = d->highest;
        d->rising = false;
        d->lowest_db = c->level_db;
        return true;
    }
    return false;
}

static void decide(detector *d, const cell *c, told_one tell, void *with)
{
    cell peak;

    if (turn(d, c, &peak) && peak.level_db - peak.background_db >= RISE_DB) {
        pulse(d, &peak, c->known_at, tell, with);
    }
    if (d->open) {
        uint64_t last_chance = d->last_begin + MAX_INTERVAL;
        bool pending = d->rising && d->highest.begin <= last_chance && d->highest.level_db - d->highest.background_db >= RISE_DB;

        if (c->begin > last_chance && !pending) {
            train_end(d, c->known_at, false, tell, with);
        }
    }
}

static void decide_end(detector *d, uint64_t known_at, told_one tell, void *with)
{
    if (d->open) {
        train_end(d, known_at, true, tell, with);
    }
}
