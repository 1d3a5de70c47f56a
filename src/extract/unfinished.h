/*
 * Finding the job to go on with.
 */
#ifndef EXTRACT_UNFINISHED_H
#define EXTRACT_UNFINISHED_H

#include "extract/head.h"

/* A job to go on with, as it was found at the destination. */
struct unfinished_job {
	char *folder;          /* path */
	struct head_read read; /* of its journal */
	char *came_from;       /* path of its folder at the destination that it left now; NULL */
};

/* What a folder at a destination is to a job. */
enum standing {
	STANDING_NONE,     /* nothing unfinished */
	STANDING_JOB,      /* the job is here, and unfinished */
	STANDING_ARRIVING, /* a job was being brought here when it was cut off: onward.h */
	STANDING_LEFT,     /* the job has gone on elsewhere */
};
enum standing unfinished_standing(const char *to, const char *name);

/*
 * The names of the first two folders in `to` with this standing, to be freed; NULL: there are not so
 * many. False with *error.
 */
bool unfinished_names(
    const char *to, enum standing standing, char *found[2], struct error *error);

/*
 * Finds the unfinished job `name` in the folder `to`; NULL name: the only one there. False with
 * *error (STATUS_USAGE, STATUS_DESTINATION); unfinished_free() is needed in any case.
 */
bool unfinished_find(struct unfinished_job *job, const char *to, const char *name,
    struct error *error);
void unfinished_free(struct unfinished_job *job);

#endif
