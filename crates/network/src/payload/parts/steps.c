
/* The code of a number; returns 1 when it lies outside of the range. */
static unsigned steps_of(double value, double least, double step, uint64_t last, uint64_t no_data, uint64_t *code)
{
    volatile double sum = value - least;

    if (isnan(value)) {
        *code = no_data;
        return 0;
    }
    sum = sum / step;
    sum = sum + 0.5;
    if (sum < 0.0) {
        *code = 0;
        return 1;
    }
    if (sum >= (double)last + 1.0) {
        *code = last;
        return 1;
    }
    *code = (uint64_t)sum;
    return 0;
}

/* The number of a code. */
static double value_of(uint64_t code, double least, double step)
{
    volatile double sum = (double)code * step;

    sum = least + sum;
    return sum;
}
