
/* What is told of a finished sound whichever way it was found, from the mean of so many powers. */
static void tell_of(const detector *d, uint64_t known_at, double count, bool cut, told *t)
{
    memset(t, 0, sizeof *t);
    t->notice = ENDED;
    t->id = d->id;
    t->known_at = known_at;
    t->begin = d->begin;
    t->end = d->end;
    t->peak = d->peak;
    t->peak_level_db = d->peak_level_db;
    t->mean_level_db = 10.0 * log10(d->energy / count);
    t->background_db = d->background_db;
    t->score_db = d->score_db;
    t->cut = cut;
}

static void tell_one(int notice, uint64_t id, uint64_t known_at, int reason, told_one tell, void *with)
{
    told t;

    memset(&t, 0, sizeof t);
    t.notice = notice;
    t.id = id;
    t.known_at = known_at;
    t.reason = reason;
    tell(with, &t);
}
