/* What is likely forgotten: see forgotten.h. */
#include "plan/forgotten.h"

#include "base/filetime.h"
#include "plan/inner.h"

#include <stdlib.h>
#include <string.h>

#define PARENT_LIMIT 1024u
#define DAY (INT64_C(86400) * FILETIME_PER_SECOND)
#define LARGE_INSTALLER (UINT64_C(1) << 20) /* bytes */

static uint64_t item_bytes(const struct plan *plan, const struct item *item)
{
	return plan_catalogue(plan->survey, item->volume)->streams[item->stream].size;
}

static const struct node *node_of(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);

	return &catalogue->nodes[catalogue->entries[item->entry].node];
}

static const char *name_of(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);

	return catalogue_name(catalogue, catalogue->entries[item->entry].name);
}

static bool deserves_thought(const struct plan *plan, const struct item *item)
{
	const char *name = name_of(plan, item);
	const struct node *node = node_of(plan, item);

	/* Says who has a document open. */
	if (strncmp(name, "~$", 2) == 0)
		return false;
	switch (item->reason) {
	case REASON_OFFERED:
	case REASON_PASSWORDS:
	case REASON_RECYCLE_BIN:
	case REASON_NOT_ASKED:
		return true;
	case REASON_PROGRAM:
		return kind_is_peoples(name, true) && node->modified > node->created + DAY;
	case REASON_TEMPORARY:
	case REASON_CACHE:
		return kind_is_peoples(name, false);
	case REASON_INSTALLER_LEFTOVER:
		return kind_is_installer(name) && item_bytes(plan, item) >= LARGE_INSTALLER;
	default:
		return false;
	}
}

/* --- folders of which something is taken --- */

struct search {
	const struct plan *plan;
	struct forgotten_list *list;
	struct arena arena;
	uint8_t **touched; /* by volume: bit for each folder with something taken below it */
};

static bool is_touched(const struct search *search, uint32_t volume, uint32_t folder)
{
	return search->touched[volume][folder / 8] >> folder % 8 & 1;
}

static uint32_t parent_of(const struct catalogue *catalogue, uint32_t folder)
{
	const struct node *node = catalogue_node(catalogue, folder);

	return !node || node->n_entries == 0 || folder == NODE_ROOT
		   ? NONE
		   : catalogue->entries[node->first_entry].parent;
}

static void touch(struct search *search, uint32_t volume, uint32_t folder)
{
	const struct catalogue *catalogue = plan_catalogue(search->plan->survey, volume);

	while (folder != NONE && folder < catalogue->n_nodes && !is_touched(search, volume, folder)) {
		search->touched[volume][folder / 8] |= (uint8_t)(1u << folder % 8);
		folder = parent_of(catalogue, folder);
	}
}

static bool touch_all(struct search *search)
{
	const struct plan *plan = search->plan;
	size_t n_volumes = plan->survey->n_volumes;

	search->touched = arena_array(&search->arena, n_volumes + 1, sizeof(*search->touched));
	for (size_t v = 0; search->touched && v < n_volumes; v++) {
		const struct catalogue *catalogue = plan_catalogue(plan->survey, v);

		if (!catalogue)
			continue;
		search->touched[v] = arena_alloc(&search->arena, catalogue->n_nodes / 8 + 1);
		if (!search->touched[v])
			return false;
	}
	for (size_t i = 0; search->touched && i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (item->kind == ITEM_FILE && item->state != STATE_LEFT)
			touch(search, item->volume,
			    plan_catalogue(plan->survey, item->volume)->entries[item->entry].parent);
	}
	return search->touched != NULL;
}

/* --- the folder that a file counts to --- */

static uint32_t top_untouched(const struct search *search, uint32_t volume, uint32_t folder)
{
	const struct catalogue *catalogue = plan_catalogue(search->plan->survey, volume);

	for (unsigned i = 0; i < PARENT_LIMIT && folder != NONE; i++) {
		uint32_t parent = parent_of(catalogue, folder);

		if (parent == NONE || parent == NODE_ROOT || parent >= catalogue->n_nodes ||
		    is_touched(search, volume, folder) || is_touched(search, volume, parent) ||
		    parent_of(catalogue, parent) == NODE_ROOT)
			break;
		folder = parent;
	}
	return folder;
}

/* A row for each file at first. */
static bool add_file(struct search *search, const struct item *item)
{
	const struct plan *plan = search->plan;
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);
	uint32_t folder = top_untouched(
	    search, item->volume, catalogue->entries[item->entry].parent);
	struct forgotten_list *list = search->list;

	if (!array_reserve(&list->items, &list->capacity, list->count + 1, sizeof(*list->items)))
		return false;
	list->items[list->count++] = (struct forgotten){.volume = item->volume,
	    .folder = folder,
	    .reason = (enum reason)item->reason,
	    .is_whole = folder < catalogue->n_nodes && !is_touched(search, item->volume, folder),
	    .files = 1,
	    .bytes = item_bytes(plan, item),
	    .newest = node_of(plan, item)->modified};
	return true;
}

static int by_folder(const void *a, const void *b)
{
	const struct forgotten *one = a, *other = b;

	if (one->volume != other->volume)
		return one->volume < other->volume ? -1 : 1;
	if (one->folder != other->folder)
		return one->folder < other->folder ? -1 : 1;
	return (int)one->reason - (int)other->reason;
}

/* Rows of one folder and reason become one. */
static void join(struct forgotten_list *list)
{
	size_t count = 0;

	if (list->count > 1)
		qsort(list->items, list->count, sizeof(*list->items), by_folder);
	for (size_t i = 0; i < list->count; i++) {
		struct forgotten *row = &list->items[i], *last = &list->items[count];

		if (count == 0 || by_folder(--last, row) != 0) {
			list->items[count++] = *row;
			continue;
		}
		last->files += row->files;
		last->bytes += row->bytes;
		last->newest = row->newest > last->newest ? row->newest : last->newest;
	}
	list->count = count;
}

static unsigned digits(uint64_t number)
{
	unsigned count = 1;

	while (number >= 10) {
		number /= 10;
		count++;
	}
	return count;
}

static int by_weight(const void *a, const void *b)
{
	const struct forgotten *one = a, *other = b;
	unsigned size_one = digits(one->bytes), size_other = digits(other->bytes);

	if (size_one != size_other)
		return size_one > size_other ? -1 : 1;
	if (one->newest != other->newest)
		return one->newest > other->newest ? -1 : 1;
	if (one->bytes != other->bytes)
		return one->bytes > other->bytes ? -1 : 1;
	return by_folder(one, other);
}

bool forgotten_find(struct forgotten_list *list, const struct plan *plan)
{
	struct search search = {.plan = plan, .list = list};
	bool good;

	*list = (struct forgotten_list){0};
	good = touch_all(&search);
	for (size_t i = 0; good && i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (item->kind == ITEM_FILE && item->state == STATE_LEFT && item->stream != NONE &&
		    deserves_thought(plan, item))
			good = add_file(&search, item);
	}
	join(list);
	if (list->count > 1)
		qsort(list->items, list->count, sizeof(*list->items), by_weight);
	arena_free(&search.arena);
	return good;
}

void forgotten_free(struct forgotten_list *list)
{
	free(list->items);
	*list = (struct forgotten_list){0};
}

void forgotten_path(const struct forgotten *forgotten, const struct plan *plan, struct buf *path)
{
	buf_add_text(path, plan->survey->volumes[forgotten->volume].name);
	if (forgotten->folder == NONE)
		buf_add_text(path, "\\" CATALOGUE_LOST_FOLDER);
	else
		catalogue_node_path(
		    plan_catalogue(plan->survey, forgotten->volume), forgotten->folder, path);
}

void forgotten_shown(const struct forgotten *forgotten, const struct plan *plan, struct buf *path)
{
	const struct catalogue *catalogue =
	    plan_catalogue(plan->survey, forgotten->volume);
	const struct node *node = catalogue_node(catalogue, forgotten->folder);

	if (!node || node->n_entries == 0 ||
	    !bins_was(plan->survey, forgotten->volume, node->first_entry, path))
		forgotten_path(forgotten, plan, path);
}

const char *forgotten_words(const struct forgotten *forgotten)
{
	switch (forgotten->reason) {
	case REASON_OFFERED:
		return "waits for a decision: keys, licences, virtual machines or bulk data of programs";
	case REASON_PASSWORDS:
		return "waits for a decision: stores of saved passwords";
	case REASON_RECYCLE_BIN:
		return "deleted, but still in the recycle bin";
	case REASON_NOT_ASKED:
		return "of somebody, or of a folder, that this job was told to leave";
	case REASON_PROGRAM:
		return "in a folder of programs, changed after it came there";
	case REASON_TEMPORARY:
	case REASON_CACHE:
		return "documents among temporary files or in a cache";
	default:
		return "an installer that may not be had again";
	}
}
