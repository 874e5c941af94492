
/* The band-pass as state-variable sections integrated by the trapezoidal rule: in single precision these keep their accuracy where the band lies low, which the plain recursion does not. */
static float band(detector *d, float in)
{
    float x = in * BAND_GAIN;
    uint32_t i;

    for (i = 0; i < SECTIONS; i++) {
        float *s = d->band[i];
        float v3 = x - s[1];
        float v1 = section[i][0] * s[0] + section[i][1] * v3;
        float v2 = s[1] + section[i][1] * s[0] + section[i][2] * v3;

        s[0] = 2.0f * v1 - s[0];
        s[1] = 2.0f * v2 - s[1];
        /* Far below any converter: never compute with subnormal numbers. */
        if (s[0] < QUIET && s[0] > -QUIET) {
            s[0] = 0.0f;
        }
        if (s[1] < QUIET && s[1] > -QUIET) {
            s[1] = 0.0f;
        }
        x = section[i][3] * v1;
    }
    return x;
}
