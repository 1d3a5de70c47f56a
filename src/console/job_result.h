/*
 * What came of a job, in words: from how `extract` and `verify` ended and what stands on the
 * destination.
 */
#ifndef CONSOLE_JOB_RESULT_H
#define CONSOLE_JOB_RESULT_H

#include "base/error.h"
#include "console/job_place.h"
#include "console/relay.h"
#include "console/run_job.h"

#include <stdbool.h>

struct job_facts {
	const struct job_place *place; /* after the job */
	bool gone_on;                  /* the job was unfinished before, and should have gone on */
	bool place_is_known;           /* false: the destination cannot be read any more */
	const struct relay_end *extract;
	const struct relay_end *verify; /* NULL: it was not begun */
	const char *where;              /* "NEWHOME (/dev/sdc1)" */
};

/* Fills in status, extracted, proven, interrupted, refused, name, sentence and findings. */
void job_result_judge(const struct job_facts *facts, struct job_end *end);

#endif
