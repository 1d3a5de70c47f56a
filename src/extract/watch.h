/*
 * Watching the drives while a job reads them: are they getting too hot, or worse?
 *
 * A thread asks each drive how it is (disk/faults.h) now and then. What it finds is told at once on
 * standard error, since it may be a reason to stop, and becomes a finding of the job.
 *
 * Limits: drives with moving parts are mostly specified up to 60 degrees Celsius, flash drives up
 * to 70 (common practice, no source).
 */
#ifndef EXTRACT_WATCH_H
#define EXTRACT_WATCH_H

#include "base/finding.h"
#include "system/survey.h"

#include <stdbool.h>

#define WATCH_SECONDS 60u /* from one question to the next */
#define WATCH_HOT 60u     /* degrees Celsius */
#define WATCH_HOT_FLASH 70u

struct watch;

struct watch_options {
	const char *program; /* smartctl, looked for in PATH */
	unsigned seconds;    /* from one question to the next */
	bool quiet;          /* nothing on standard error */
};

/*
 * Begins to watch those drives of the survey that can be asked. NULL when there are none, or no
 * thread can be had: then nothing is watched.
 */
struct watch *watch_start(const struct survey *survey, const struct watch_options *options);

/* Stops; what was seen becomes findings "drive-hot" and "drive-getting-worse". NULL is allowed. */
void watch_end(struct watch *watch, struct findings *findings);

/*
 * Says in one sentence what is worse in `now` than in `then`, in `text`. False: nothing is.
 */
bool watch_compare(const struct faults *then, const struct faults *now, char *text, size_t size);

#endif
