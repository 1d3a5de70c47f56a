/*
 * What every unit test needs before cmocka's own header, and the usual main().
 */
#ifndef UNIT_H
#define UNIT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <sys/resource.h>

/*
 * For work that must not grow with the square of its input: the test program may use so many more
 * seconds of processor time, far more than the work needs and far less than its square would. How
 * busy the computer is makes no difference, and nothing is measured.
 */
static inline void unit_limit_processor_time(rlim_t seconds)
{
	struct rusage used;
	struct rlimit limit;

	assert_int_equal(getrusage(RUSAGE_SELF, &used), 0);
	assert_int_equal(getrlimit(RLIMIT_CPU, &limit), 0);
	limit.rlim_cur = (rlim_t)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) + 1 + seconds;
	assert_int_equal(setrlimit(RLIMIT_CPU, &limit), 0);
}

#endif
