/*
 * Jobs that were begun on a volume and are not finished: after a power cut, a pulled plug or a
 * volume that was full they are gone on with.
 */
#ifndef CONSOLE_BEGUN_H
#define CONSOLE_BEGUN_H

#include "base/error.h"
#include "console/look.h"
#include "console/order.h"
#include "extract/job.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* More than a person wants to choose from: the ones begun last are kept. */
#define BEGUN_MAX 20

/* Plain data, since it comes from another process. The texts are inner text. */
struct begun_job {
	char name[JOB_NAME_LIMIT + 1];
	char when[32];     /* it was begun, by the clock of then: "2026-03-01 14:02" */
	char what[300];    /* was asked for, as job_intro_order() says it; may be cut short */
	char problem[300]; /* why it cannot be gone on with, a sentence without full stop; "" */
	int64_t started;   /* FILETIME */
	uint64_t stored;   /* bytes of it that had arrived for certain */
	bool is_ordered;   /* it is what the order asks for */
	bool has_left;     /* a part of it stands at a destination where it was before */
	bool may_be_here;  /* drives of the sizes that it was begun with are here */
};

struct begun_jobs {
	size_t count;
	bool more; /* than there is room for */
	/*
	 * The volume was not let go properly and has a journal of its own that was not replayed:
	 * what was written last does not show, an unfinished job neither.
	 */
	bool stale;
	struct begun_job items[BEGUN_MAX]; /* the one begun last first */
};

/* What the jobs are compared with; either may be NULL. */
struct begun_wish {
	const struct order *order;
	const struct look *look;
	const struct look_drive *target; /* the drive of the look that the volume is on */
};

/*
 * Finds them on the volume, which is only read, in a process of its own with a time limit. False
 * with *error when the volume cannot be read.
 */
bool begun_find(const struct look_volume *volume, const struct begun_wish *wish,
    struct begun_jobs *jobs, struct error *error);

/* The same in a folder that is mounted already, in this process: for tests, and for the above. */
bool begun_read(const char *folder, const struct begun_wish *wish, struct begun_jobs *jobs,
    struct error *error);

/* Is this job the one that an order without a choice goes on with? */
bool begun_is_meant(const struct begun_job *job);

#endif
