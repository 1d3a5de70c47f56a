/*
 * Names at the destination: which one is free, and what stands there of a job afterwards.
 *
 * The destination is read in a process of its own with a time limit, and nothing of what is there
 * is ever told to anybody.
 */
#ifndef CONSOLE_JOB_PLACE_H
#define CONSOLE_JOB_PLACE_H

#include "base/error.h"

#include <stdbool.h>

#define JOB_LOG_END "-log.txt"

struct job_place {
	char name[200];
	bool folder_is_there;
	bool journal_is_there; /* the job is not complete */
};

/*
 * Chooses `name`, or `name`-2, `name`-3 ... : the first for which neither a folder or file of that
 * name nor a log is in `folder`, in whatever case. False with *error (STATUS_DESTINATION).
 */
bool job_place_choose(
    const char *folder, const char *name, struct job_place *place, struct error *error);

/* Looks what is there of the job now. False with *error when the destination cannot be read. */
bool job_place_look(const char *folder, struct job_place *place, struct error *error);

#endif
