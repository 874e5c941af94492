/* Reads samples of single precision, pushes them in blocks of an odd length, and prints what is told, a line each. */
#include "heard.h"

#include <stdio.h>

static void told(void *with, const heard_told *t)
{
    (void)with;
    printf("%d %d %llu %llu %llu %llu %llu %.6f %.6f %.6f %.6f %u\n", t->notice, t->reason, (unsigned long long)t->id,
           (unsigned long long)t->known_at, (unsigned long long)t->begin, (unsigned long long)t->end, (unsigned long long)t->peak,
           t->peak_level_db, t->mean_level_db, t->background_db, t->score_db, (unsigned)t->pulses);
}

int main(void)
{
    static heard detector;
    float x[1013];
    size_t n;

    heard_begin(&detector);
    while ((n = fread(x, sizeof x[0], 1013, stdin)) > 0) {
        if (heard_push(&detector, x, n, told, NULL) != HEARD_OK) {
            return 1;
        }
    }
    heard_gap(&detector, told, NULL);
    return 0;
}
