/*
 * Where shortcuts, recent and jump lists lead: what a person used that lies on a drive or share
 * that is not here, and which files that are here. Programs are left out: only documents and
 * folders are a loss.
 */
#ifndef SYSTEM_LINK_TARGETS_H
#define SYSTEM_LINK_TARGETS_H

#include "system/survey.h"

/* Things on one drive or share that one person used. */
struct far_place {
	size_t person;
	char *root;    /* "E:", "\\server\share" */
	char *example; /* the one used last */
	int64_t last;  /* FILETIME */
	size_t count;
	bool is_share;
};

struct link_targets {
	struct far_place *places;
	size_t n_places, capacity;
	struct opened *opened; /* files that are here, also several times the same */
	size_t n_opened, opened_capacity;
	struct arena arena; /* of the places' texts */
	uint32_t *seen;     /* hashes of paths that were counted */
	size_t n_seen, seen_capacity;
	bool failed; /* memory ran out */
};

/* Takes the path that a link or list names into account; `used`: FILETIME, 0: not told. */
void link_targets_add(struct link_targets *targets, const struct survey *survey,
    const struct old_system *system, size_t person, const char *path, int64_t used);
/* Keeps the files that are here in the survey; false when memory runs out. */
bool link_targets_keep(
    const struct link_targets *targets, struct survey *survey, struct old_system *system);
/* Findings for all of them. */
void link_targets_tell(const struct link_targets *targets, const struct survey *survey,
    const struct old_system *system);
void link_targets_free(struct link_targets *targets);

#endif
