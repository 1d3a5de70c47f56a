/*
 * The tree of keys, built once when the hive is opened.
 *
 * Lists on the drive can loop, share keys or lead nowhere. Here every key node stands at most once,
 * below the first key whose list has it, so whoever walks the tree walks a tree.
 *
 * Source: regf specification, section "Key node".
 */
#include "base/buf.h"
#include "hive/internal.h"

/*
 * How often the data in a hive may be there in all. No two values share data; a damaged hive may
 * have an older key beside a newer one.
 */
#define DATA_TIMES 4u

static size_t slot_of(const struct hive *hive, hive_cell cell)
{
	uint32_t hash = cell * UINT32_C(2654435761);
	size_t mask = hive->n_slots - 1, at = (hash ^ hash >> 16) & mask;

	while (hive->slots[at].key != NO_KEY && hive->slots[at].cell != cell)
		at = (at + 1) & mask;
	return at;
}

uint32_t tree_index(const struct hive *hive, hive_cell cell)
{
	if (hive->n_slots == 0 || cell == HIVE_NO_CELL)
		return NO_KEY;
	return hive->slots[slot_of(hive, cell)].key;
}

/* Keeps at least half of the slots free. */
static bool slots_reserve(struct hive *hive)
{
	size_t n = hive->n_slots == 0 ? 1024 : hive->n_slots * 2;
	struct key_slot *old = hive->slots;
	size_t n_old = hive->n_slots;

	if (hive->n_used < hive->n_slots / 2)
		return true;
	hive->slots = malloc(n * sizeof(*hive->slots));
	if (hive->slots == NULL) {
		hive->slots = old;
		return false;
	}
	for (size_t i = 0; i < n; i++)
		hive->slots[i].key = NO_KEY;
	hive->n_slots = n;
	for (size_t i = 0; i < n_old; i++)
		if (old[i].key != NO_KEY)
			hive->slots[slot_of(hive, old[i].cell)] = old[i];
	free(old);
	return true;
}

static bool slot_put(struct hive *hive, hive_cell cell, uint32_t key)
{
	if (!slots_reserve(hive))
		return false;
	hive->slots[slot_of(hive, cell)] = (struct key_slot){.cell = cell, .key = key};
	hive->n_used++;
	return true;
}

static void link_child(struct hive *hive, uint32_t parent, uint32_t key)
{
	struct key *above;

	if (parent == NO_KEY)
		return;
	above = &hive->keys[parent];
	if (above->first_child == NO_KEY)
		above->first_child = key;
	else
		hive->keys[above->last_child].next = key;
	above->last_child = key;
	above->n_children++;
}

uint32_t tree_add(struct hive *hive, hive_cell cell, uint32_t parent)
{
	uint32_t key = (uint32_t)hive->n_keys;

	if (tree_index(hive, cell) != NO_KEY)
		return NO_KEY;
	if (parent != NO_KEY && hive->keys[parent].depth >= HIVE_DEPTH)
		return NO_KEY;
	if (!array_reserve(&hive->keys, &hive->key_room, hive->n_keys + 1, sizeof(*hive->keys)) ||
	    !slot_put(hive, cell, key)) {
		hive->no_memory = true;
		return NO_KEY;
	}
	hive->keys[key] = (struct key){
	    .cell = cell,
	    .parent = parent,
	    .depth = parent == NO_KEY ? 0 : (uint16_t)(hive->keys[parent].depth + 1),
	    .first_child = NO_KEY,
	    .last_child = NO_KEY,
	    .next = NO_KEY,
	};
	hive->n_keys++;
	link_child(hive, parent, key);
	return key;
}

uint32_t tree_add_made_up(struct hive *hive, struct list_entry lost, uint32_t parent)
{
	uint32_t key;

	if (!array_reserve(
		&hive->made_up, &hive->made_up_room, hive->n_made_up + 1, sizeof(*hive->made_up))) {
		hive->no_memory = true;
		return NO_KEY;
	}
	key = tree_add(hive, MADE_UP_CELL | (hive_cell)hive->n_made_up, parent);
	if (key == NO_KEY)
		return NO_KEY;
	hive->made_up[hive->n_made_up++] = (struct made_up){.entry = lost, .key = key};
	hive->keys[key].incomplete = true;
	return key;
}

const struct made_up *tree_made_up(const struct hive *hive, uint32_t key)
{
	hive_cell cell = hive->keys[key].cell, i = cell & ~MADE_UP_CELL;

	return (cell & MADE_UP_CELL) != 0 && i < hive->n_made_up ? &hive->made_up[i] : NULL;
}

hive_cell tree_place(const struct hive *hive, uint32_t key)
{
	const struct made_up *made_up = tree_made_up(hive, key);

	return made_up == NULL ? hive->keys[key].cell : made_up->entry.cell;
}

/* No more than key nodes fit into the hive: who has more names the same ones again and again. */
static void note_entry(
    struct hive *hive, struct odd_entries *entries, uint32_t key, struct list_entry entry)
{
	if (entries->n >= hive->bins_length / NK_SIZE)
		return;
	if (!array_reserve(
		&entries->items, &entries->room, entries->n + 1, sizeof(*entries->items))) {
		hive->no_memory = true;
		return;
	}
	entries->items[entries->n++] = (struct odd_entry){.entry = entry, .key = key};
}

/* Does the key node name another key as its parent, and is there such a key? */
static bool belongs_elsewhere(const struct hive *hive, const struct cell *nk, uint32_t key)
{
	hive_cell parent = get_u32(nk->data + 16);
	struct cell other;

	return parent != tree_place(hive, key) && nk_get(hive, parent, &other);
}

/* Where an entry is odd, the one that belongs in its place may be lost: salvage looks for it. */
static void visit_entry(struct hive *hive, uint32_t key, struct list_entry entry)
{
	struct cell nk;

	if (!nk_get(hive, entry.cell, &nk)) {
		hive->keys[key].incomplete = true;
		hive->health.bad_keys++;
		note_entry(hive, &hive->broken, key, entry);
	} else if (belongs_elsewhere(hive, &nk, key)) {
		hive->keys[key].incomplete = true;
		note_entry(hive, &hive->foreign, key, entry);
	} else if (tree_add(hive, entry.cell, key) == NO_KEY) {
		hive->keys[key].incomplete = true;
	}
}

static void follow_subkeys(struct hive *hive, uint32_t key, const struct cell *nk)
{
	uint32_t stated = get_u32(nk->data + 20), seen;

	if (stated == 0)
		return;
	if (!list_walk(hive, get_u32(nk->data + 28), key, visit_entry, &seen)) {
		hive->keys[key].incomplete = true;
		hive->health.bad_keys++;
	}
	if (seen != stated)
		hive->keys[key].incomplete = true;
}

/* Is the value and all of its data there? What would take too long to find out is taken to be. */
static bool value_is_whole(struct hive *hive, hive_cell value)
{
	size_t cost, there;
	struct cell vk;
	bool whole;

	if (!vk_get(hive, value, &vk))
		return false;
	cost = vk_cost(&vk);
	if (cost > hive->data_budget)
		return true;
	hive->data_budget -= cost;
	whole = vk_is_whole(hive, &vk, &there);
	hive->bytes_budget -= there < hive->bytes_budget ? there : hive->bytes_budget;
	return whole;
}

/* Counts what is wrong, and how much of the list may be walked later. */
static void follow_values(struct hive *hive, uint32_t key, const struct cell *nk)
{
	struct cell list;
	uint32_t count;
	bool broken;

	if (!value_list(hive, nk, &list, &count, &broken)) {
		hive->health.bad_values += broken;
		return;
	}
	hive->health.bad_values += broken;
	if (count > hive->value_budget)
		count = (uint32_t)hive->value_budget;
	hive->value_budget -= count;
	for (uint32_t i = 0; i < count && hive->bytes_budget > 0; i++) {
		hive->keys[key].n_values++;
		if (!value_is_whole(hive, get_u32(list.data + 4 * (size_t)i)))
			hive->health.bad_values++;
	}
	if (hive->keys[key].n_values < count)
		hive->health.bad_values += count - hive->keys[key].n_values;
}

void tree_follow(struct hive *hive, size_t from)
{
	struct cell nk;

	for (size_t i = from; i < hive->n_keys && !hive->no_memory; i++) {
		if (!nk_get(hive, hive->keys[i].cell, &nk))
			continue;
		follow_subkeys(hive, (uint32_t)i, &nk);
		follow_values(hive, (uint32_t)i, &nk);
	}
}

/* `root` is HIVE_NO_CELL, or a cell that is no key node any more, when the root is lost. */
bool tree_build(struct hive *hive, hive_cell root)
{
	struct list_entry lost = {.cell = root};
	struct cell nk;
	bool damaged;

	hive->list_budget = hive->value_budget = hive->data_budget = hive->bins_length / 4;
	hive->bytes_budget = (size_t)hive->bins_length * DATA_TIMES;
	if (nk_get(hive, root, &nk)) {
		tree_add(hive, root, NO_KEY);
	} else {
		hive->health.root_lost = true;
		tree_add_made_up(hive, lost, NO_KEY);
	}
	tree_follow(hive, 0);
	damaged = hive->health.root_lost;
	for (size_t i = 0; i < hive->n_keys && !damaged; i++)
		damaged = hive->keys[i].incomplete;
	if (damaged && !hive->no_memory)
		salvage_join(hive);
	return !hive->no_memory;
}
