/*
 * Lists of subkeys: li, lf and lh hold keys, ri holds such lists.
 *
 * Source: regf specification, sections "Index leaf", "Fast leaf", "Hash leaf", "Index root".
 */
#include "hive/internal.h"

/* The old system never nests index roots; a damaged or odd hive may, but not endlessly. */
#define INDEX_ROOT_DEPTH 4

struct walk {
	struct hive *hive;
	uint32_t key;
	list_visit visit;
	uint32_t seen;
	bool whole;
};

/* Each entry takes four bytes of the hive, so more entries than that were met in a loop. */
static bool take_entry(struct walk *walk)
{
	if (walk->hive->list_budget == 0) {
		walk->whole = false;
		return false;
	}
	walk->hive->list_budget--;
	return true;
}

static void walk_leaf(struct walk *walk, const struct cell *list, size_t count, size_t step)
{
	enum hint_kind kind = step == 4 ? HINT_NONE : HINT_START;

	if (memcmp(list->data, "lh", 2) == 0)
		kind = HINT_HASH;
	for (size_t i = 0; i < count && take_entry(walk); i++) {
		const uint8_t *data = list->data + 4 + i * step;
		struct list_entry entry = {
		    .cell = get_u32(data),
		    .kind = kind,
		    .hint = kind == HINT_NONE ? 0 : get_u32(data + 4),
		};

		walk->seen++;
		walk->visit(walk->hive, walk->key, entry);
	}
}

static void walk_list(struct walk *walk, hive_cell offset, unsigned depth)
{
	bool is_root, is_plain;
	size_t count, step, room;
	struct cell list;

	if (!cell_get(walk->hive, offset, &list) || list.length < 4) {
		walk->whole = false;
		return;
	}
	is_root = memcmp(list.data, "ri", 2) == 0;
	is_plain = memcmp(list.data, "li", 2) == 0;
	if (!is_root && !is_plain && memcmp(list.data, "lf", 2) != 0 &&
	    memcmp(list.data, "lh", 2) != 0) {
		walk->whole = false;
		return;
	}
	count = get_u16(list.data + 2);
	step = is_root || is_plain ? 4 : 8;
	room = (list.length - 4) / step;
	if (count > room) {
		walk->whole = false;
		count = room;
	}
	if (!is_root) {
		walk_leaf(walk, &list, count, step);
		return;
	}
	if (depth == 0) {
		walk->whole = false;
		return;
	}
	for (size_t i = 0; i < count && take_entry(walk); i++)
		walk_list(walk, get_u32(list.data + 4 + i * 4), depth - 1);
}

bool list_walk(struct hive *hive, hive_cell list, uint32_t key, list_visit visit, uint32_t *seen)
{
	struct walk walk = {.hive = hive, .key = key, .visit = visit, .whole = true};

	walk_list(&walk, list, INDEX_ROOT_DEPTH);
	*seen = walk.seen;
	return walk.whole;
}
