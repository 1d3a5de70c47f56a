/*
 * The job that a volume brings along: nobody has to be at the PC.
 *
 * A volume labelled COLDLIFT (exactly so) on a drive that can be taken out, which holds no old
 * system and has the file coldlift-job.txt (see job_file.h) at its top, says what to do, and the
 * job goes to that volume. Whatever is not entirely clear stops it: two such volumes, a locked or
 * failing drive, a line of the file that is not understood. An unfinished job of the same order,
 * off drives that are here, goes on by itself: a power cut costs minutes. It never runs twice by itself: a mark
 * in the stick's memory says that this start of the stick has had its job.
 */
#ifndef CONSOLE_UNATTENDED_H
#define CONSOLE_UNATTENDED_H

#include "console/look.h"

#include <stdbool.h>
#include <stdio.h>

#define UNATTENDED_LABEL "COLDLIFT"
#define UNATTENDED_FILE "coldlift-job.txt"

enum unattended_end {
	UNATTENDED_NONE,    /* there is no such file: nothing was said or done */
	UNATTENDED_STOPPED, /* no job has begun: something is not clear, or somebody stopped it */
	UNATTENDED_WAITS,   /* the job has ended and its result is to be shown */
	UNATTENDED_OFF,     /* the job has ended and the PC switches off */
};

struct unattended {
	enum unattended_end end;
	bool has_job;        /* it is finished: nothing is left to be done on this PC */
	char sentence[2400]; /* why, or what came of it and what to do next; "" for NONE */
};

/*
 * Could there be such a volume, going by the labels, and has this start of the stick not had its
 * job yet? Then nothing may wait for a person before unattended_run() was called.
 */
bool unattended_is_possible(const struct look *look);

/*
 * Looks for such a volume and runs its job. To be called when drives and old systems have been
 * looked at, before a menu is shown; a look that was not surveyed is a reason to stop when there is
 * a job file. Says what happens on `out`, counts down there before the job begins, and reads from
 * `in` only the key that stops it. Job output goes to standard output and standard error.
 */
void unattended_run(const struct look *look, FILE *in, FILE *out, struct unattended *result);

#endif
