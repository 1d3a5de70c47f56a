/*
 * Which files hold the same bytes: second names on the old volume, and equal content.
 *
 * Only within one part, so that every part opens by itself. Equal content means equal size and
 * equal SHA-256; only sizes that occur more than once in a group are worth a look.
 */
#ifndef EXTRACT_SAME_H
#define EXTRACT_SAME_H

#include "extract/map.h"
#include "extract/outcome.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct same {
	const struct plan *plan;
	const struct outcomes *outcomes;
	bool once;            /* store equal bytes once */
	struct map
	    firsts; /* stream -> the item that the plan takes, for streams with several names */
	/* Everything below is kept apart for each group: several are in work at a time. */
	struct map stored;    /* stream -> item that stands in a part, the latest */
	struct map contents;  /* digest and size -> item that stands in a part, the latest */
	struct map sizes;     /* size -> how often it is there, 1 or 2 (more) */
};

/* False when memory runs out. */
bool same_start(struct same *same, const struct outcomes *outcomes, bool once);
void same_free(struct same *same);

/* Learns the sizes of the files that are to be stored next, of one group or several. */
bool same_enter_groups(struct same *same, const uint32_t *list, size_t n_list);

/* `key` for one group alone. Two that meet by chance cost a comparison, no more. */
uint64_t same_key(uint64_t key, uint32_t group);

/* Could another file of the group have the same content? */
bool same_is_candidate(const struct same *same, uint32_t item);

/* The item that the plan takes under another name for the same stream; NONE. */
uint32_t same_first(const struct same *same, uint32_t item);

/*
 * An item in part `part` that is the same stream, or (with outcome.digest set) has the same
 * content.
 */
uint32_t same_stream_in_part(const struct same *same, uint32_t item, uint32_t part);
uint32_t same_content_in_part(const struct same *same, uint32_t item, uint32_t part);

/* The item stands in a part now. */
bool same_note_stored(struct same *same, uint32_t item);

/* Has the node of the item more than one name, so that its stream may be stored twice? */
bool same_has_names(const struct plan *plan, const struct item *item);

#endif
