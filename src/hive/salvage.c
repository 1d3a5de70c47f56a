/*
 * Joining keys that the tree does not reach: each key node names its parent.
 *
 * Only keys whose way is broken are joined: below a key whose list of subkeys is damaged, or below
 * a made-up key where the parent itself is gone. A key node that a whole list simply does not
 * mention is a leftover of the old system, not data.
 *
 * Source: regf specification, section "Key node" (field "Parent").
 */
#include "base/buf.h"
#include "hive/internal.h"

struct orphan {
	hive_cell parent, cell;
};

struct orphans {
	struct hive *hive;
	struct orphan *items; /* by parent, then by cell */
	size_t n, room;
};

static bool collect(void *context, hive_cell cell, const struct cell *nk)
{
	struct orphans *orphans = context;

	if (tree_index(orphans->hive, cell) != NO_KEY)
		return true;
	if (!array_reserve(
		&orphans->items, &orphans->room, orphans->n + 1, sizeof(*orphans->items))) {
		orphans->hive->no_memory = true;
		return false;
	}
	orphans->items[orphans->n++] = (struct orphan){
	    .parent = get_u32(nk->data + 16),
	    .cell = cell,
	};
	return true;
}

static int compare_orphans(const void *a, const void *b)
{
	const struct orphan *x = a, *y = b;

	if (x->parent != y->parent)
		return x->parent < y->parent ? -1 : 1;
	return x->cell < y->cell ? -1 : x->cell > y->cell;
}

static int compare_broken(const void *a, const void *b)
{
	const struct odd_entry *x = a, *y = b;

	return x->entry.cell < y->entry.cell ? -1 : x->entry.cell > y->entry.cell;
}

static int compare_numbers(const void *a, const void *b)
{
	uint32_t x = *(const uint32_t *)a, y = *(const uint32_t *)b;

	return x < y ? -1 : x > y;
}

/* The first orphan of this parent, or the place where it would be. */
static size_t first_of(const struct orphans *orphans, hive_cell parent)
{
	size_t low = 0, high = orphans->n;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (orphans->items[middle].parent < parent)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

static uint32_t name_hash(const struct hive *hive, hive_cell cell)
{
	struct raw_name name;
	struct cell nk;

	if (!nk_get(hive, cell, &nk))
		return 0;
	name = nk_name(&nk);
	return raw_name_hash(&name);
}

/* Hashes of the names that the key's own list still has; NULL for none or without memory. */
static uint32_t *listed_names(struct hive *hive, uint32_t key, size_t *n)
{
	uint32_t *hashes;

	*n = 0;
	if (hive->keys[key].n_children == 0)
		return NULL;
	hashes = calloc(hive->keys[key].n_children, sizeof(*hashes));
	if (hashes == NULL) {
		hive->no_memory = true;
		return NULL;
	}
	for (uint32_t i = hive->keys[key].first_child; i != NO_KEY; i = hive->keys[i].next)
		hashes[(*n)++] = name_hash(hive, hive->keys[i].cell);
	qsort(hashes, *n, sizeof(*hashes), compare_numbers);
	return hashes;
}

/* Joins the orphans of one key. One with the name of a listed subkey is its older self. */
static void join_below(struct orphans *orphans, uint32_t key)
{
	struct hive *hive = orphans->hive;
	hive_cell place = tree_place(hive, key);
	size_t at = first_of(orphans, place), n_listed, before = hive->n_keys;
	uint32_t *listed;

	if (place == HIVE_NO_CELL || at == orphans->n || orphans->items[at].parent != place)
		return;
	listed = listed_names(hive, key, &n_listed);
	for (; at < orphans->n && orphans->items[at].parent == place; at++) {
		hive_cell cell = orphans->items[at].cell;
		uint32_t hash = name_hash(hive, cell);

		if (n_listed == 0 ||
		    bsearch(&hash, listed, n_listed, sizeof(*listed), compare_numbers) == NULL)
			tree_add(hive, cell, key);
	}
	free(listed);
	tree_follow(hive, before);
}

static void join_from(struct orphans *orphans, size_t from)
{
	for (size_t i = from; i < orphans->hive->n_keys && !orphans->hive->no_memory; i++)
		if (orphans->hive->keys[i].incomplete)
			join_below(orphans, (uint32_t)i);
}

static bool is_lost(const struct hive *hive, hive_cell parent)
{
	struct cell nk;

	return !nk_get(hive, parent, &nk);
}

/* Was there a key at `place` that orphans name as their parent, and that is lost? */
static bool is_missed(const struct orphans *orphans, hive_cell place)
{
	size_t at = first_of(orphans, place);

	return place != HIVE_NO_CELL && at < orphans->n && orphans->items[at].parent == place &&
	       is_lost(orphans->hive, place);
}

/* The lost key that most orphans name. */
static hive_cell most_missed(const struct orphans *orphans)
{
	hive_cell found = HIVE_NO_CELL;
	size_t best = 0, end;

	for (size_t i = 0; i < orphans->n; i = end) {
		hive_cell parent = orphans->items[i].parent;

		for (end = i; end < orphans->n && orphans->items[end].parent == parent; end++)
			;
		if (end - i > best && is_lost(orphans->hive, parent)) {
			best = end - i;
			found = parent;
		}
	}
	return found;
}

/*
 * Where a lost root stood when no valid base block says so: where a bad one says, or where roots
 * always are (the first cell), as long as keys name that place, or else the place that most keys
 * name.
 */
static void guess_root(struct orphans *orphans)
{
	struct hive *hive = orphans->hive;
	hive_cell *place;

	if (!hive->health.root_lost || hive->made_up[0].entry.cell != HIVE_NO_CELL)
		return;
	place = &hive->made_up[0].entry.cell;
	if (is_missed(orphans, hive->base.root))
		*place = hive->base.root;
	else if (is_missed(orphans, BIN_HEADER))
		*place = BIN_HEADER;
	else
		*place = most_missed(orphans);
}

/* The list entry that leads to a lost key node; without one, the key is taken to be below the root.
 */
static struct odd_entry entry_of_lost(const struct odd_entry *broken, size_t n, hive_cell lost)
{
	struct odd_entry wanted = {.entry.cell = lost};
	const struct odd_entry *found = NULL;

	if (n > 0)
		found = bsearch(&wanted, broken, n, sizeof(*broken), compare_broken);
	return found == NULL ? wanted : *found;
}

/* Makes up a key for every lost parent whose children are not in the tree yet. */
static void join_lost(struct orphans *orphans)
{
	struct hive *hive = orphans->hive;
	size_t n_broken = hive->broken.n;
	struct odd_entry *broken = malloc((n_broken + 1) * sizeof(*broken));
	hive_cell done = HIVE_NO_CELL;

	if (broken == NULL) {
		hive->no_memory = true;
		return;
	}
	if (n_broken > 0)
		memcpy(broken, hive->broken.items, n_broken * sizeof(*broken));
	qsort(broken, n_broken, sizeof(*broken), compare_broken);
	for (size_t i = 0; i < orphans->n && !hive->no_memory; i++) {
		hive_cell parent = orphans->items[i].parent;
		struct odd_entry lost;

		if (parent == done || tree_index(hive, orphans->items[i].cell) != NO_KEY ||
		    !is_lost(hive, parent) || parent == tree_place(hive, 0))
			continue;
		lost = entry_of_lost(broken, n_broken, parent);
		tree_add_made_up(hive, lost.entry, lost.key);
		done = parent;
	}
	free(broken);
}

/* Foreign entries that their named parent did not claim stay with the key whose list has them. */
static void join_foreign(struct hive *hive)
{
	size_t before = hive->n_keys;

	for (size_t i = 0; i < hive->foreign.n && !hive->no_memory; i++) {
		tree_add(hive, hive->foreign.items[i].entry.cell, hive->foreign.items[i].key);
		tree_follow(hive, before);
		before = hive->n_keys;
	}
}

/*
 * Everything that this adds counts as salvaged, except keys that stand in the list they were found
 * in.
 */
bool salvage_join(struct hive *hive)
{
	struct orphans orphans = {.hive = hive};
	size_t start = hive->n_keys, before = hive->n_made_up, joined, listed;

	scan_keys(hive, collect, &orphans);
	if (orphans.n > 0) {
		qsort(orphans.items, orphans.n, sizeof(*orphans.items), compare_orphans);
		guess_root(&orphans);
	}
	join_from(&orphans, 0);
	joined = hive->n_keys;
	join_foreign(hive);
	listed = hive->n_keys - joined;
	join_from(&orphans, joined);
	joined = hive->n_keys;
	join_lost(&orphans);
	join_from(&orphans, joined);
	free(orphans.items);
	hive->health.salvaged_keys =
	    (uint32_t)(hive->n_keys - start - listed - (hive->n_made_up - before));
	return !hive->no_memory;
}

static bool keep_root(void *context, hive_cell cell, const struct cell *nk)
{
	hive_cell *root = context;

	if ((get_u16(nk->data + 2) & NK_FLAG_ROOT) == 0)
		return true;
	*root = cell;
	return false;
}

/* The first key node that bears the mark of a root. */
hive_cell salvage_find_root(const struct hive *hive)
{
	hive_cell root = HIVE_NO_CELL;

	scan_keys(hive, keep_root, &root);
	return root;
}
