/* Moments: see moment.h. */
#include "base/moment.h"

#include <time.h>

int64_t moment_now(void)
{
	struct timespec time;

	clock_gettime(CLOCK_MONOTONIC, &time);
	return (int64_t)time.tv_sec * 1000 + time.tv_nsec / 1000000;
}
