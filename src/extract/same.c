/* Which files hold the same bytes: see same.h. */
#include "extract/same.h"

#include "base/bytes.h"
#include "extract/items.h"

uint64_t same_key(uint64_t key, uint32_t group)
{
	return key ^ (UINT64_C(0x9E3779B97F4A7C15) * (group + UINT64_C(1)));
}

bool same_has_names(const struct plan *plan, const struct item *item)
{
	return item->kind == ITEM_FILE && item_node(plan, item)->n_entries > 1;
}

bool same_start(struct same *same, const struct outcomes *outcomes, bool once)
{
	*same = (struct same){.plan = outcomes->plan, .outcomes = outcomes, .once = once};
	for (size_t i = 0; i < outcomes->n_items; i++) {
		const struct item *item = &same->plan->items[i];

		if (!item_is_wanted(item) || item->state == STATE_SAME ||
		    !same_has_names(same->plan, item))
			continue;
		if (!map_put(&same->firsts, item_stream_key(item), (uint32_t)i))
			return false;
	}
	return true;
}

void same_free(struct same *same)
{
	map_free(&same->firsts);
	map_free(&same->stored);
	map_free(&same->contents);
	map_free(&same->sizes);
}

bool same_enter_groups(struct same *same, const uint32_t *list, size_t n_list)
{
	map_free(&same->sizes);
	for (size_t i = 0; same->once && i < n_list; i++) {
		const struct item *item = &same->plan->items[list[i]];
		uint64_t size = item_stored_size(same->plan, item);
		uint64_t key = same_key(size, item->group);
		uint32_t known = map_get(&same->sizes, key);

		if (size > 0 && known != 2 && !map_put(&same->sizes, key, known == 1 ? 2 : 1))
			return false;
	}
	return true;
}

bool same_is_candidate(const struct same *same, uint32_t item)
{
	const struct item *it = &same->plan->items[item];
	uint64_t size = item_stored_size(same->plan, it);

	return same->once && size > 0 && map_get(&same->sizes, same_key(size, it->group)) == 2;
}

uint32_t same_first(const struct same *same, uint32_t item)
{
	const struct item *it = &same->plan->items[item];
	uint32_t first;

	if (!same_has_names(same->plan, it))
		return NONE;
	first = map_get(&same->firsts, item_stream_key(it));
	return first == item ? NONE : first;
}

static bool stands_in(const struct same *same, uint32_t item, uint32_t part)
{
	const struct outcome *outcome;

	if (item == MAP_NONE)
		return false;
	outcome = &same->outcomes->items[item];
	/* A file in pieces has no one entry that a second name could point to. */
	return outcome->part == part && outcome->n_pieces == 0;
}

uint32_t same_stream_in_part(const struct same *same, uint32_t item, uint32_t part)
{
	const struct item *it = &same->plan->items[item];
	uint32_t found;

	if (!same->once || !same_has_names(same->plan, it))
		return NONE;
	found = map_get(&same->stored, same_key(item_stream_key(it), it->group));
	if (!stands_in(same, found, part) ||
	    item_stream_key(&same->plan->items[found]) != item_stream_key(it))
		return NONE;
	return found;
}

static uint64_t content_key(const struct same *same, uint32_t item)
{
	const struct item *it = &same->plan->items[item];

	return same_key(
	    get_u64(same->outcomes->items[item].digest.bytes) ^ item_stored_size(same->plan, it),
	    it->group);
}

uint32_t same_content_in_part(const struct same *same, uint32_t item, uint32_t part)
{
	const struct outcome *own = &same->outcomes->items[item];
	uint32_t found = map_get(&same->contents, content_key(same, item));

	if (!stands_in(same, found, part) ||
	    !digest_equal(&own->digest, &same->outcomes->items[found].digest) ||
	    item_stored_size(same->plan, &same->plan->items[item]) !=
		item_stored_size(same->plan, &same->plan->items[found]))
		return NONE;
	return found;
}

bool same_note_stored(struct same *same, uint32_t item)
{
	const struct outcome *outcome = &same->outcomes->items[item];
	const struct item *it = &same->plan->items[item];

	if (!same->once)
		return true;
	if (same_has_names(same->plan, it) &&
	    !map_put(&same->stored, same_key(item_stream_key(it), it->group), item))
		return false;
	return !same_is_candidate(same, item) || outcome->ranges != NONE ||
	    map_put(&same->contents, content_key(same, item), item);
}
