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
};

/*
 * Finds the unfinished job `name` in the folder `to`; NULL name: the only one there. False with
 * *error (STATUS_USAGE, STATUS_DESTINATION); unfinished_free() is needed in any case.
 */
bool unfinished_find(struct unfinished_job *job, const char *to, const char *name,
    struct error *error);
void unfinished_free(struct unfinished_job *job);

#endif
