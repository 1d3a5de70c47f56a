/*
 * Key nodes: name, time, and the subkeys as the tree has them.
 *
 * Source: regf specification, section "Key node".
 */
#include "hive/internal.h"

bool nk_get(const struct hive *hive, hive_cell offset, struct cell *nk)
{
	return cell_record(hive, offset, "nk", NK_SIZE, nk) &&
	       get_u16(nk->data + 72) <= nk->length - NK_SIZE;
}

struct raw_name nk_name(const struct cell *nk)
{
	return (struct raw_name){
	    .data = nk->data + NK_SIZE,
	    .length = get_u16(nk->data + 72),
	    .compressed = (get_u16(nk->data + 2) & NK_FLAG_COMPRESSED) != 0,
	};
}

hive_cell hive_root(const struct hive *hive)
{
	return hive->keys[0].cell;
}

char *hive_key_name(const struct hive *hive, hive_cell key, struct arena *arena)
{
	uint32_t index = tree_index(hive, key);
	struct raw_name name;
	struct cell nk;
	hive_cell lost;

	if (index == NO_KEY)
		return NULL;
	if (!nk_get(hive, key, &nk)) {
		lost = tree_place(hive, index);
		if (index == 0)
			return arena_strdup(arena, "lost-root");
		return arena_printf(arena, "lost-key-%08x", (unsigned)lost);
	}
	name = nk_name(&nk);
	return raw_name_text(&name, arena);
}

int64_t hive_key_written(const struct hive *hive, hive_cell key)
{
	struct cell nk;

	return nk_get(hive, key, &nk) ? (int64_t)get_u64(nk.data + 4) : 0;
}

size_t hive_subkeys(const struct hive *hive, hive_cell key, struct arena *arena, hive_cell **cells)
{
	uint32_t index = tree_index(hive, key);
	size_t n = 0;

	*cells = NULL;
	if (index == NO_KEY || hive->keys[index].n_children == 0)
		return 0;
	*cells = arena_array(arena, hive->keys[index].n_children, sizeof(**cells));
	if (*cells == NULL)
		return 0;
	for (uint32_t i = hive->keys[index].first_child; i != NO_KEY; i = hive->keys[i].next)
		(*cells)[n++] = hive->keys[i].cell;
	return n;
}
