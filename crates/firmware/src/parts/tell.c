
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
