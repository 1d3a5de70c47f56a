/*
 * Which entries stand in a part, by the outcomes of a job that is gone on with: what
 * writer_options.next_stored asks for.
 */
#ifndef EXTRACT_STORED_ITEMS_H
#define EXTRACT_STORED_ITEMS_H

#include "base/buf.h"
#include "extract/outcome.h"
#include "extract/writer.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct stored_items {
	const struct outcomes *outcomes;
	uint32_t part;   /* index in parts; with FORMAT_FOLDER there is one for all */
	size_t item;     /* the next */
	uint32_t piece;  /* of it, the next */
	struct buf path; /* of the last one */
	bool no_memory;  /* it ended early */
};

void stored_items_start(struct stored_items *items, const struct outcomes *outcomes, uint32_t part);
/* As writer_options.next_stored; `stored` is a struct stored_items. */
bool stored_items_next(void *stored, struct member *member);
void stored_items_free(struct stored_items *items);

#endif
