/*
 * One job from the live stick to a volume: opened, extracted, verified, let go.
 */
#ifndef CONSOLE_RUN_JOB_H
#define CONSOLE_RUN_JOB_H

#include "base/error.h"
#include "base/finding.h"
#include "console/look.h"
#include "console/order.h"

#include <stdbool.h>

/* How a job ended. */
struct job_end {
	enum status status; /* of `extract`; when that was 0 or 1, of `verify` if it is worse */
	bool extracted,
	    proven;          /* a finished job is there; `verify` read it back and found it good */
	bool interrupted;    /* by Ctrl-C */
	bool refused;        /* the unfinished job cannot be gone on with, and is as it was */
	bool let_go;         /* the volume was unmounted as it should be, with the log on it */
	char name[256];      /* the job's folder on the destination; "" when there is none */
	char log[300];       /* the log's file there */
	char sentence[2000]; /* what came of it and what to do next, for a person */
	struct findings findings; /* losses and cautions of the job */
};

/*
 * Runs the whole job: opens the volume `target` of the look, runs `extract` over every drive but
 * the stick and the target's drive, runs `verify` over the job, and lets go of the volume. The
 * progress goes to standard error, what the commands say to a log beside the job's folder
 * ("NAME-log.txt"). What
 * is on the volume already is never touched and never shown: where the name is taken, another is
 * chosen. A job that is gone on with keeps its name, and its log goes on, too. False only when it could not even begin (no job was written then), with *error; otherwise
 * *end tells. To be called with SIGINT blocked: Ctrl-C ends the job, not the caller.
 */
bool run_job(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const struct order *order, struct job_end *end,
    struct error *error);

/* The findings. Also after a job that could not begin. */
void job_end_free(struct job_end *end);

/*
 * For a job that does not begin: opens the volume, leaves a log there with the reason, and lets go.
 * False with *error when that did not work; nobody has to care.
 */
bool run_job_note(const struct look *look, const struct look_drive *drive,
    const struct look_volume *target, const char *reason, struct error *error);

#endif
