/* Looking at a drive so that a run which goes on with the job sees the same: see source.h. */
#include "disk/source_inner.h"

#include <string.h>

void source_look(struct source *source, size_t most)
{
	pthread_mutex_lock(&source->lock);
	source->looking = source->salvage != NULL;
	source->early.room = most;
	if (source->looking)
		salvage_notes(source->salvage, SALVAGE_MISSED, &source->known);
	pthread_mutex_unlock(&source->lock);
}

void source_look_end(struct source *source)
{
	pthread_mutex_lock(&source->lock);
	source->looking = false;
	source->early.room = 0;
	pthread_mutex_unlock(&source->lock);
}

/*
 * The store has what was read of a faulty drive already; of a drive without a failure it goes into
 * memory. A piece with holes in it makes the drive a faulty one.
 */
void source_look_keep(struct source *source, const struct piece *piece, bool may_keep)
{
	uint64_t at = piece->start, end = at + piece->length;
	bool is_whole = piece->holes.count == 0 && !piece->holes.failed;

	if (is_whole && !may_keep)
		early_add(&source->early, at, piece->buffer, piece->length);
	for (size_t i = 0; may_keep && i < piece->holes.count; i++)
		salvage_add_note(source->salvage, SALVAGE_MISSED, piece->holes.items[i].offset,
		    piece->holes.items[i].length);
	pthread_mutex_lock(&source->lock);
	while (at < end && !piece->holes.failed) {
		struct hole hole = source_next_of(&piece->holes, at, end);

		holes_add(&source->looked_at, at, hole.offset - at);
		holes_add(&source->missed, hole.offset, hole.length);
		at = hole.offset + hole.length;
	}
	pthread_mutex_unlock(&source->lock);
}

void source_forget(struct source *source, uint64_t offset, uint64_t length)
{
	struct holes rest = {0};

	if (source->salvage == NULL || salvage_bytes(source->salvage) == 0)
		return;
	holes_add(&rest, offset, length);
	pthread_mutex_lock(&source->lock);
	for (uint64_t at = offset; at < offset + length;) {
		struct hole stays = source_next_of(&source->looked_at, at, offset + length);

		if (stays.length > 0)
			holes_remove(&rest, stays.offset, stays.length);
		at = stays.offset + stays.length;
	}
	/* Without memory it is not known what stays: all of it does. */
	if (source->looked_at.failed)
		holes_clear(&rest);
	pthread_mutex_unlock(&source->lock);
	for (size_t i = 0; i < rest.count; i++)
		salvage_drop(source->salvage, rest.items[i].offset, rest.items[i].length);
	holes_free(&rest);
}

bool source_read_fresh(struct source *source, uint64_t offset, void *buffer, size_t length)
{
	uint64_t size = source->device->size;
	struct piece *piece;
	bool good = false;

	if (offset >= size || length > size - offset)
		return false;
	pthread_mutex_lock(&source->lock);
	piece = source_ask(source, offset, offset + length, false, NULL, true);
	if (piece != NULL) {
		piece->fresh = true;
		if (source_await(source, piece)) {
			good = piece->holes.count == 0 &&
			       offset + length <= piece->start + piece->length;
			if (good)
				memcpy(buffer, piece->buffer + (offset - piece->start), length);
			source_return(source, piece);
		}
	}
	pthread_mutex_unlock(&source->lock);
	return good;
}
