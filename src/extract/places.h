/*
 * A job that lies at several destinations (onward.h): which part is where, and what is done at the
 * ones that it has left when they are attached.
 */
#ifndef EXTRACT_PLACES_H
#define EXTRACT_PLACES_H

#include "base/finding.h"
#include "extract/papers.h"
#include "extract/parts.h"
#include "extract/unfinished.h"

#include <stdbool.h>
#include <stddef.h>

#define PLACES_PAPER "destinations.json"

/* A destination that the job has left, from the first on. */
struct left_place {
	const char *mark;
	char *folder; /* of the job there; NULL: not attached, or not where it was */
};

struct places {
	struct left_place *items; /* the marks are those of the unfinished job */
	size_t count;        /* 0: the job lies at one destination */
};

/* Looks for the destinations that the job has left. False: no memory. */
bool places_find(struct places *places, const struct unfinished_job *job);
void places_free(struct places *places);

/* Removes what is not needed any more where it was left. What cannot be removed stays. */
void places_tidy(const struct places *places, const struct parts *parts);

/* Findings: that the job lies in several folders, and where papers cannot be copied to. */
void places_tell(const struct places *places, struct findings *findings);

/* Writes destinations.json when there are several. False with *error. */
bool places_write(const struct places *places, const struct parts *parts, struct papers *papers,
    struct error *error);

/*
 * The job is complete: copies the papers that say and prove what is in it to the destinations that
 * it has left. Where that fails is a finding.
 */
void places_copy_papers(const struct places *places, const struct job *job,
    struct findings *findings);

#endif
