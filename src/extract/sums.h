/*
 * Sums over the outcomes: by state, by group, and by reason of what was left.
 */
#ifndef EXTRACT_SUMS_H
#define EXTRACT_SUMS_H

#include "extract/outcome.h"

struct tally {
	uint64_t count; /* streams of files */
	uint64_t bytes; /* logical */
};

struct sums {
	struct tally states[STATE_COUNT];
	struct tally left[REASON_COUNT];             /* state left, by reason */
	struct tally (*groups)[STATE_COUNT];         /* by index in plan.groups */
	size_t n_groups;
};

/* False when memory runs out; sums_free() is needed in either case. */
bool sums_make(struct sums *sums, const struct outcomes *outcomes);
void sums_free(struct sums *sums);

/* What arrived of a group, in whole or in part: taken, partial, incomplete, same. */
struct tally sums_arrived(const struct sums *sums, size_t group);

#endif
