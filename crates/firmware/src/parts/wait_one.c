
/* Whether a cell begins a sound. */
static bool trigger_wait(detector *d, const cell *c)
{
    if (!(c->value_db >= ON_ABOVE_DB)) {
        return false;
    }
    trigger_begin(d, c);
    return true;
}
