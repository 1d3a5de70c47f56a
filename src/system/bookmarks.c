/* The one form of bookmarks: see bookmarks.h. */
#include "system/bookmarks.h"

#include "base/buf.h"

#include <stdlib.h>

#define TEXT_LIMIT ((size_t)64 << 20) /* bytes of all titles and addresses */

void bookmarks_free(struct bookmarks *bookmarks)
{
	free(bookmarks->items);
	arena_free(&bookmarks->arena);
	*bookmarks = (struct bookmarks){0};
}

void bookmarks_add(struct bookmarks *bookmarks, const struct bookmark *bookmark)
{
	struct bookmark *added;

	if (bookmarks->count >= BOOKMARK_LIMIT || bookmarks->arena.total > TEXT_LIMIT) {
		bookmarks->is_partial = true;
		return;
	}
	if (!array_reserve(&bookmarks->items, &bookmarks->capacity, bookmarks->count + 1,
		sizeof(*bookmarks->items))) {
		bookmarks->no_memory = true;
		return;
	}
	added = &bookmarks->items[bookmarks->count];
	*added = *bookmark;
	added->title = arena_strdup(&bookmarks->arena, bookmark->title ? bookmark->title : "");
	added->address =
	    arena_strdup(&bookmarks->arena, bookmark->address ? bookmark->address : "");
	if (!added->title || !added->address) {
		bookmarks->no_memory = true;
		return;
	}
	if (added->depth > BOOKMARK_DEPTH)
		added->depth = BOOKMARK_DEPTH;
	bookmarks->count++;
	bookmarks->n_links += added->kind == BOOKMARK_LINK;
}

/* Marks folders without a link by taking their title away. */
static void mark_empty(struct bookmarks *bookmarks)
{
	/* Going from behind: has a link been met in the folder at this depth? */
	bool has_link[BOOKMARK_DEPTH + 1] = {false};

	for (size_t i = bookmarks->count; i-- > 0;) {
		struct bookmark *item = &bookmarks->items[i];

		if (item->kind == BOOKMARK_FOLDER && !has_link[item->depth])
			item->title = NULL;
		if (item->kind == BOOKMARK_FOLDER)
			has_link[item->depth] = false;
		if (item->kind == BOOKMARK_LINK)
			for (unsigned above = 0; above < item->depth; above++)
				has_link[above] = true;
	}
}

void bookmarks_prune(struct bookmarks *bookmarks)
{
	size_t kept = 0;
	unsigned empty = UINT16_MAX; /* depth of the empty folder that we are in */

	mark_empty(bookmarks);
	for (size_t i = 0; i < bookmarks->count; i++) {
		const struct bookmark *item = &bookmarks->items[i];

		if (item->depth > empty)
			continue;
		empty = item->title == NULL ? item->depth : UINT16_MAX;
		if (item->title != NULL)
			bookmarks->items[kept++] = *item;
	}
	bookmarks->count = kept;
}
