
/* A filter that lowers the rate: takes a sample and, for every so many, gives one. The line holds the latest samples twice, so that they always lie side by side. */
static bool lower(const float *taps, uint32_t length, uint32_t factor, float *line, uint32_t *at, uint32_t *wait, float in, float *out)
{
    float sums[4] = { 0.0f, 0.0f, 0.0f, 0.0f };
    const float *x;
    uint32_t i;

    line[*at] = in;
    line[*at + length] = in;
    *at = *at + 1 == length ? 0 : *at + 1;
    *wait -= 1;
    if (*wait > 0) {
        return false;
    }
    *wait = factor;
    x = line + *at;
    for (i = 0; i < length; i += 4) {
        sums[0] += taps[i] * x[i];
        sums[1] += taps[i + 1] * x[i + 1];
        sums[2] += taps[i + 2] * x[i + 2];
        sums[3] += taps[i + 3] * x[i + 3];
    }
    *out = (sums[0] + sums[2]) + (sums[1] + sums[3]);
    return true;
}
