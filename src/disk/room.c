/* Label and free room of a volume, and what the readers share; see room.h. */
#include "disk/room.h"

#include "base/bytes.h"
#include "base/moment.h"
#include "disk/room_inner.h"

#include <string.h>

/* Seconds that counting may take: a list of drives should not wait for a slow stick. */
#define COUNT_SECONDS 5

bool room_bytes(const struct room_volume *volume, uint64_t at, void *out, size_t length)
{
	if (length > volume->length || at > volume->length - length)
		return false;
	return source_read(volume->source, volume->offset + at, out, length, NULL);
}

bool room_may_count(const struct room_volume *volume)
{
	return !source_has_holes(volume->source) &&
	       moment_now() / 1000 - volume->begun <= COUNT_SECONDS;
}

const char *room_label(const struct room_volume *volume, struct buf *text)
{
	size_t length = text->length;

	if (text->failed)
		return NULL;
	while (length > 0 && text->data[length - 1] == ' ')
		length--;
	return arena_text(volume->arena, buf_text(text), length);
}

static bool is_cluster(const struct room_chain *chain, uint32_t cluster)
{
	return cluster >= 2 && cluster - 2 < chain->entries;
}

uint32_t room_chain_next(struct room_chain *chain, uint32_t cluster)
{
	const uint32_t per_window = sizeof(chain->window) / 4;
	uint32_t first = cluster / per_window * per_window, next;
	uint64_t end = (uint64_t)chain->entries + 2;
	size_t count = end - first < per_window ? (size_t)(end - first) : per_window;

	if (!is_cluster(chain, cluster)) {
		chain->broken = true;
		return 0;
	}
	if (!chain->window_good || chain->window_first != first) {
		chain->window_first = first;
		chain->window_good = room_bytes(
		    chain->volume, chain->table + 4 * (uint64_t)first, chain->window, 4 * count);
	}
	next = chain->window_good ? get_u32(chain->window + 4 * (cluster - first)) : 0;
	next &= chain->mask;
	if (is_cluster(chain, next))
		return next;
	/* The last eight values end a chain. */
	if (!chain->window_good || next < chain->mask - 7)
		chain->broken = true;
	return 0;
}

bool room_walk(const struct room_volume *volume, uint64_t at, uint32_t count, room_entry *each,
    void *context, bool *ended)
{
	uint8_t bytes[4096];
	const uint32_t per_piece = sizeof(bytes) / ROOM_ENTRY;

	*ended = false;
	while (count > 0 && !*ended) {
		uint32_t now = count < per_piece ? count : per_piece;

		if (!room_bytes(volume, at, bytes, now * ROOM_ENTRY))
			return false;
		for (uint32_t i = 0; i < now && !*ended; i++)
			*ended = !each(context, bytes + i * ROOM_ENTRY);
		at += now * ROOM_ENTRY;
		count -= now;
	}
	return true;
}

bool room_walk_chain(struct room_chain *chain, uint32_t first, room_entry *each, void *context)
{
	uint32_t left = ROOM_ENTRIES_MAX, at = first;
	bool ended = false;

	/* The limit also ends a chain that leads back into itself. */
	while (!ended && left > 0 && is_cluster(chain, at)) {
		uint32_t count = chain->cluster / ROOM_ENTRY;

		count = count < left ? count : left;
		left -= count;
		if (!room_walk(chain->volume, chain->heap + (uint64_t)(at - 2) * chain->cluster,
			count, each, context, &ended))
			return false;
		if (!ended)
			at = room_chain_next(chain, at);
	}
	return ended || (at == 0 && first != 0 && !chain->broken);
}

struct room room_read(struct source *source, uint64_t offset, uint64_t length,
    enum filesystem filesystem, struct arena *arena)
{
	struct room_volume volume = {source, offset, length, arena, moment_now() / 1000};
	struct room room = {NULL, ROOM_UNKNOWN};

	if (offset > source_size(source))
		return room;
	if (filesystem == FILESYSTEM_FAT)
		room_read_fat(&volume, &room);
	else if (filesystem == FILESYSTEM_EXFAT)
		room_read_exfat(&volume, &room);
	else if (filesystem == FILESYSTEM_EXT)
		room_read_ext(&volume, &room);
	/* More than there is of the volume: it was not noted by a sane file system. */
	if (room.free != ROOM_UNKNOWN && room.free > length)
		room.free = ROOM_UNKNOWN;
	return room;
}
