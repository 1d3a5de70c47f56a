/*
 * How much room a job takes at its destination, reckoned before it begins.
 */
#ifndef EXTRACT_NEED_H
#define EXTRACT_NEED_H

#include "extract/destination.h"
#include "extract/writer.h"
#include "plan/plan.h"

/*
 * The most that the job can need, as if nothing became smaller by being packed: content, what each
 * format adds to a file, record and proof, and what is lost because a file takes whole clusters.
 * `limit`: largest size of a part, 0: none. False: no memory.
 */
bool need_of(const struct plan *plan, enum format format, uint64_t limit,
    const struct destination *destination, struct need *need);

/* How many of the plan's files are larger than `limit` bytes and would be cut into pieces. */
uint64_t need_pieces(const struct plan *plan, uint64_t limit);

#endif
