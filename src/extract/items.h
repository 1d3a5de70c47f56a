/*
 * From an item of the plan to what it stands for in its catalogue.
 */
#ifndef EXTRACT_ITEMS_H
#define EXTRACT_ITEMS_H

#include "base/buf.h"
#include "ntfs/view.h"
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

/* How its bytes are read. */
static inline enum view item_view(const struct item *item)
{
	enum item_form form = (enum item_form)item->form;

	return (enum view)(
	    (form_is_encrypted(form) ? VIEW_RAW : 0) | (form_is_ranges(form) ? VIEW_RANGES : 0));
}

/* Bytes that it has in the archive. */
static inline uint64_t item_stored_size(const struct plan *plan, const struct item *item)
{
	const struct stream *stream = item_stream(plan, item);

	return stream == NULL ? 0 : view_size(item_catalogue(plan, item), stream, item_view(item));
}

/* Do its bytes go into a part, as planned? */
static inline bool item_is_wanted(const struct item *item)
{
	return item->state == STATE_TAKEN || item->state == STATE_SAME ||
	       item->state == STATE_INCOMPLETE || item->state == STATE_LOCKED;
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
