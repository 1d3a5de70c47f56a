/*
 * Where shortcuts, recent and jump lists lead: what a person used that lies on a drive or share
 * that is not here. Programs are left out: only documents and folders are a loss.
 */
#ifndef SYSTEM_LINK_TARGETS_H
#define SYSTEM_LINK_TARGETS_H

#include "system/shell_link.h"
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
	struct arena arena; /* of their texts, and of `seen` */
	uint32_t *seen;     /* hashes of paths that were counted */
	size_t n_seen, seen_capacity;
	bool failed; /* memory ran out */
};

/* Takes a link into account; `used`: FILETIME at which it was last written or used. */
void link_targets_add(struct link_targets *targets, const struct survey *survey,
    const struct old_system *system, size_t person, const struct shell_link *link, int64_t used);
/* Findings for all of them. */
void link_targets_tell(const struct link_targets *targets, const struct survey *survey,
    const struct old_system *system);
void link_targets_free(struct link_targets *targets);

#endif
