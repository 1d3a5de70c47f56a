/*
 * One job from the live stick to a volume: checked for room, extracted, verified, let go.
 */
#ifndef CONSOLE_RUN_JOB_H
#define CONSOLE_RUN_JOB_H

#include "base/error.h"
#include "console/look.h"
#include "console/order.h"

#include <stdbool.h>

/* How a job ended. */
struct job_end {
	enum status status;        /* of `extract`; when that was 0 or 1, of `verify` if it is worse */
	bool extracted, proven;    /* a finished job is there; `verify` read it back and found it good */
	char name[256];            /* the job's folder on the destination; "" when there is none */
	char sentence[700];        /* what came of it and what to do next, for a person */
};

/*
 * Runs the whole job: opens the volume `target` of the look, runs `extract` over every drive but the
 * stick and the target's drive, runs `verify` over the job, and lets go of the volume. What the
 * commands say goes to standard output, and to a log beside the job's folder ("NAME-log.txt"). What
 * is on the volume already is never touched and never shown: where the name is taken, another is
 * chosen. False only when it could not even begin (nothing was written then), with *error; otherwise
 * *end tells.
 */
bool run_job(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const struct order *order, struct job_end *end,
    struct error *error);

#endif
