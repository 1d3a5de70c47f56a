/*
 * Moments, for whoever waits only so long: a clock that nobody sets.
 */
#ifndef BASE_MOMENT_H
#define BASE_MOMENT_H

#include <stdint.h>

/* Milliseconds of the monotonic clock, from no particular start. */
int64_t moment_now(void);

#endif
