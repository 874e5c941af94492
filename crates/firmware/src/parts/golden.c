
/* The golden sound: white noise, and tones where they begin; whole numbers times one factor, the same on every processor. */
static float golden(uint64_t at)
{
    static uint32_t noise = 1;
    static uint32_t phase = 0;
    static size_t next = 0;
    float x;

    noise = noise * UINT32_C(1664525) + UINT32_C(1013904223);
    x = ((float)(noise >> 16) - 32768.0f) * NOISE;
    if (at >= begins[next]) {
        x += (float)turn[phase >> 26] * TONE;
        phase += STEP;
    }
    if (begins[next] != UINT64_MAX && at + 1 >= begins[next] + LENGTH) {
        next += 1;
    }
    return x;
}

static bool near(uint64_t a, uint64_t b)
{
    return (a > b ? a - b : b - a) <= TILE;
}

/* Two levels, both unknown, or near each other. */
static bool alike(double a, double b)
{
    return (isnan(a) && isnan(b)) || fabs(a - b) <= WITHIN_DB;
}

static void told(void *with, const detector_told *one)
{
    const detector_told *e;

    (void)with;
    if (heard >= EXPECTED) {
        printf("more is told than the %u notices expected\n", EXPECTED);
        wrong = 1;
        return;
    }
    e = &expected[heard];
    heard += 1;
    if (one->notice != e->notice || one->reason != e->reason || one->id != e->id || !near(one->known_at, e->known_at)) {
        printf("notice %u is another one: %d, expected %d\n", (unsigned)heard, one->notice, e->notice);
        wrong = 1;
        return;
    }
    if (one->notice != HIGH_ENDED) {
        return;
    }
    if (!near(one->begin, e->begin) || !near(one->end, e->end) || !near(one->peak, e->peak) || one->cut != e->cut || one->pulses != e->pulses) {
        printf("event %u lies elsewhere\n", (unsigned)one->id);
        wrong = 1;
    }
    if (!alike(one->peak_level_db, e->peak_level_db) || !alike(one->mean_level_db, e->mean_level_db) || !alike(one->background_db, e->background_db) || !alike(one->score_db, e->score_db)) {
        printf("event %u has other levels: %.4f, expected %.4f dB\n", (unsigned)one->id, one->peak_level_db, e->peak_level_db);
        wrong = 1;
    }
}

int main(void)
{
    float x[BLOCK];
    uint64_t at = 0;

    detector_begin(&detector);
    while (at < SAMPLES) {
        size_t n = 0;

        while (n < BLOCK && at < SAMPLES) {
            x[n] = golden(at);
            n += 1;
            at += 1;
        }
        if (detector_push(&detector, x, n, told, NULL) != HIGH_OK) {
            printf("a level is no number\n");
            return 1;
        }
    }
    detector_gap(&detector, told, NULL);
    if (heard != EXPECTED) {
        printf("%u notices are told, %u expected\n", (unsigned)heard, EXPECTED);
        wrong = 1;
    }
    printf("%s: %u notices of %.1f s of sound, state of %u bytes\n", wrong ? "WRONG" : "right", (unsigned)heard, (double)SAMPLES / HIGH_RATE_HZ, (unsigned)sizeof detector);
    return wrong;
}
