#include <float.h>
#include <math.h>

#if DBL_MANT_DIG != 53 || DBL_MAX_EXP != 1024
#error "double is not the 64-bit format of IEEE 754 that the codes are computed in"
#endif
#if defined(__FAST_MATH__) || (defined(__FINITE_MATH_ONLY__) && __FINITE_MATH_ONLY__)
#error "this file needs NAN and exact divisions: compile it without -ffast-math"
#endif
#if FLT_EVAL_METHOD == 2 || FLT_EVAL_METHOD < 0
#error "sums of more than double precision give other codes: on x86 compile with -msse2 -mfpmath=sse"
#endif
