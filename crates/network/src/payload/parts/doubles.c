#include <float.h>
#include <math.h>

#if DBL_MANT_DIG != 53 || DBL_MAX_EXP != 1024
#error "double is not the 64-bit format of IEEE 754 that the codes are computed in"
#endif
#ifdef __FAST_MATH__
#error "this file needs NAN and exact divisions: compile it without -ffast-math"
#endif
