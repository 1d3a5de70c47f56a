/*
 * Twins: names that the old file system kept apart and an archive unpacked elsewhere would not.
 *
 * Names of one folder are compared while it is walked. The files that named streams become are
 * compared here with everything that lies beside them.
 */
#include "plan/inner.h"

#include "base/utf.h"
#include "plan/names.h"

#include <stdlib.h>
#include <string.h>

bool twins_add(struct plan *plan, uint32_t volume, uint32_t entry, uint32_t stream, uint32_t number)
{
	if (!array_reserve(
		&plan->twins, &plan->twins_capacity, plan->n_twins + 1, sizeof(*plan->twins)))
		return false;
	plan->twins[plan->n_twins++] = (struct twin){volume, entry, stream, number};
	return true;
}

static int compare_numbers(uint32_t a, uint32_t b)
{
	return a < b ? -1 : a > b;
}

static int by_owner(const void *a, const void *b)
{
	const struct twin *one = a, *two = b;
	int order = compare_numbers(one->volume, two->volume);

	if (order == 0)
		order = compare_numbers(one->entry, two->entry);
	return order ? order : compare_numbers(one->stream, two->stream);
}

void twins_sort(struct plan *plan)
{
	if (plan->n_twins > 1)
		qsort(plan->twins, plan->n_twins, sizeof(*plan->twins), by_owner);
}

unsigned twin_number(const struct plan *plan, uint32_t volume, uint32_t entry, uint32_t stream)
{
	struct twin key = {.volume = volume, .entry = entry, .stream = stream};
	const struct twin *twin;

	if (plan->n_twins == 0)
		return 1;
	twin = bsearch(&key, plan->twins, plan->n_twins, sizeof(key), by_owner);
	return twin ? twin->number : 1;
}

/* --- streams --- */

/* A file that a stream becomes, or a name beside it. */
struct beside {
	uint32_t volume, parent; /* node of the folder */
	uint32_t entry, stream;  /* stream NONE: a name that is there anyway */
	uint32_t hash;           /* of `name`, ignoring case */
	uint8_t form;            /* enum item_form */
	const char *name;        /* in the archive */
};

static int by_folder(const void *a, const void *b)
{
	const struct beside *one = a, *two = b;
	int order = compare_numbers(one->volume, two->volume);

	if (order == 0)
		order = compare_numbers(one->parent, two->parent);
	if (order == 0)
		order = compare_numbers(one->hash, two->hash);
	if (order == 0)
		order = utf_compare_fold(one->name, two->name);
	/* What is there anyway keeps its name. */
	if (order == 0)
		order = (two->stream == NONE) - (one->stream == NONE);
	if (order == 0)
		order = compare_numbers(one->entry, two->entry);
	return order ? order : compare_numbers(one->stream, two->stream);
}

struct besides {
	struct arena arena;
	struct beside *items;
	size_t count, capacity;
};

static bool add_beside(struct besides *besides, const struct plan *plan, struct beside beside)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, beside.volume);
	struct name_more more = {.number = twin_number(plan, beside.volume, beside.entry, NONE),
	    .stream = plan_stream_name(catalogue, beside.entry, beside.stream),
	    .stream_number = 1,
	    .ending = form_name((enum item_form)beside.form)};
	struct buf name = {0};

	if (!array_reserve(
		&besides->items, &besides->capacity, besides->count + 1, sizeof(*besides->items)))
		return false;
	name_map_more(
	    &name, catalogue_name(catalogue, catalogue->entries[beside.entry].name), &more);
	beside.name = name.failed ? NULL : arena_strdup(&besides->arena, buf_text(&name));
	buf_free(&name);
	if (!beside.name)
		return false;
	beside.hash = utf_hash_fold(beside.name);
	besides->items[besides->count++] = beside;
	return true;
}

/* Could a name be that of a stream's file, or of one in another form? No others are in the way. */
static bool looks_beside(const char *name)
{
	if (strcasestr(name, ".stream-"))
		return true;
	for (unsigned form = FORM_CONTENT + 1; form < FORM_COUNT; form++)
		if (strcasestr(name, form_name((enum item_form)form)))
			return true;
	return false;
}

static bool add_names(
    struct besides *besides, const struct plan *plan, uint32_t volume, uint32_t folder)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, volume);
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count; i++) {
		const char *name = catalogue_name(catalogue, catalogue->entries[children[i]].name);

		if (looks_beside(name) && !add_beside(besides, plan,
					      (struct beside){.volume = volume,
						  .parent = folder,
						  .entry = children[i],
						  .stream = NONE}))
			return false;
	}
	return true;
}

static bool is_stream_item(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);

	return item->stream != NONE && item->state != STATE_LEFT &&
	       (item->form != FORM_CONTENT ||
		   *plan_stream_name(catalogue, item->entry, item->stream) != 0);
}

static bool collect(struct besides *besides, const struct plan *plan)
{
	size_t n_streams;

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		uint32_t parent;

		if (!is_stream_item(plan, item))
			continue;
		parent = plan_catalogue(plan->survey, item->volume)->entries[item->entry].parent;
		if (!add_beside(besides, plan,
			(struct beside){.volume = item->volume,
			    .parent = parent,
			    .entry = item->entry,
			    .stream = item->stream,
			    .form = item->form}))
			return false;
	}
	n_streams = besides->count;
	if (n_streams > 1)
		qsort(besides->items, n_streams, sizeof(*besides->items), by_folder);
	for (size_t i = 0; i < n_streams; i++) {
		const struct beside *own = &besides->items[i];

		if (i > 0 && own->volume == own[-1].volume && own->parent == own[-1].parent)
			continue;
		if (!add_names(besides, plan, own->volume, own->parent))
			return false;
	}
	return true;
}

static bool number_streams(struct plan *plan, const struct besides *besides)
{
	uint32_t number = 1;

	for (size_t i = 1; i < besides->count; i++) {
		const struct beside *one = &besides->items[i - 1], *two = &besides->items[i];
		bool are_twins = one->volume == two->volume && one->parent == two->parent &&
				 one->hash == two->hash && utf_equal_fold(one->name, two->name);

		number = are_twins ? number + 1 : 1;
		if (are_twins && two->stream != NONE &&
		    !twins_add(plan, two->volume, two->entry, two->stream, number))
			return false;
	}
	return true;
}

bool twins_of_streams(struct plan *plan, struct error *error)
{
	struct besides besides = {0};
	bool good;

	twins_sort(plan);
	good = collect(&besides, plan);
	if (good && besides.count > 1) {
		qsort(besides.items, besides.count, sizeof(*besides.items), by_folder);
		good = number_streams(plan, &besides);
	}
	free(besides.items);
	arena_free(&besides.arena);
	return good || error_no_memory(error);
}
