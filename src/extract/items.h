/*
 * From an item of the plan to what it stands for in its catalogue.
 */
#ifndef EXTRACT_ITEMS_H
#define EXTRACT_ITEMS_H

#include "base/buf.h"
#include "ntfs/data.h"
#include "plan/plan.h"

static inline const struct catalogue *item_catalogue(
    const struct plan *plan, const struct item *item)
{
	return plan->survey->volumes[item->volume].volume->catalogue;
}

static inline const struct entry *item_entry(const struct plan *plan, const struct item *item)
{
	return &item_catalogue(plan, item)->entries[item->entry];
}

static inline const struct node *item_node(const struct plan *plan, const struct item *item)
{
	return &item_catalogue(plan, item)->nodes[item_entry(plan, item)->node];
}

/* NULL for folders and links. */
static inline const struct stream *item_stream(const struct plan *plan, const struct item *item)
{
	return item->stream == NONE ? NULL : &item_catalogue(plan, item)->streams[item->stream];
}

static inline uint64_t item_size(const struct plan *plan, const struct item *item)
{
	const struct stream *stream = item_stream(plan, item);

	return stream == NULL ? 0 : stream->size;
}

/* Name of a stream, "" for the unnamed one, for folders and for links. */
static inline const char *item_stream_name(const struct plan *plan, const struct item *item)
{
	const struct stream *stream = item_stream(plan, item);

	return stream == NULL ? "" : catalogue_name(item_catalogue(plan, item), stream->name);
}

static inline const char *item_name(const struct plan *plan, const struct item *item)
{
	return catalogue_name(item_catalogue(plan, item), item_entry(plan, item)->name);
}

/* One number for one stream of one volume, however many names lead to it. */
static inline uint64_t item_stream_key(const struct item *item)
{
	return (uint64_t)item->volume << 32 | item->stream;
}

#endif
