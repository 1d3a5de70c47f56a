/*
 * Traces of use that have to be tied to programs first: jump lists, by the number that their name
 * begins with, and documents, by what opens their kind.
 */
#ifndef SYSTEM_USE_TRACES_H
#define SYSTEM_USE_TRACES_H

#include "system/survey.h"

/* A jump list of a person. */
struct jump_use {
	uint64_t number;
	size_t person;
	uint32_t count; /* of its entries */
	int64_t last;   /* FILETIME of the last use of one, or of the list */
};

struct learn;
/*
 * Keeps (learn_trace) a trace for each jump list whose program is known, and for each opener with
 * documents. False when memory runs out.
 */
bool use_traces_find(struct learn *learn, const struct jump_use *uses, size_t n_uses);

#endif
