/*
 * Values: names, types and data in all three ways of storing them.
 *
 * Source: regf specification, sections "Key values list", "Key value", "Big data".
 */
#include "hive/internal.h"

#define VK_SIZE 20u
#define VK_FLAG_COMPRESSED 0x0001u
#define DATA_INLINE 0x80000000u
#define SEGMENT_SIZE 16344u

bool vk_get(const struct hive *hive, hive_cell offset, struct cell *vk)
{
	return cell_record(hive, offset, "vk", VK_SIZE, vk) &&
	       get_u16(vk->data + 2) <= vk->length - VK_SIZE;
}

struct raw_name vk_name(const struct cell *vk)
{
	return (struct raw_name){
	    .data = vk->data + VK_SIZE,
	    .length = get_u16(vk->data + 2),
	    .compressed = (get_u16(vk->data + 16) & VK_FLAG_COMPRESSED) != 0,
	};
}

bool value_list(const struct hive *hive, const struct cell *nk, struct cell *list, uint32_t *count,
    bool *broken)
{
	*broken = false;
	*count = get_u32(nk->data + 36);
	/* In a predefined handle the field holds the handle. */
	if (*count == 0 || (get_u16(nk->data + 2) & NK_FLAG_PREDEFINED) != 0) {
		*count = 0;
		return false;
	}
	if (!cell_get(hive, get_u32(nk->data + 40), list)) {
		*broken = true;
		return false;
	}
	if (*count > list->length / 4) {
		*broken = true;
		*count = (uint32_t)(list->length / 4);
	}
	return true;
}

size_t hive_values(const struct hive *hive, hive_cell key, struct arena *arena, hive_cell **cells)
{
	uint32_t index = tree_index(hive, key), count;
	struct cell nk, list, vk;
	size_t n = 0;
	bool broken;

	*cells = NULL;
	if (index == NO_KEY || !nk_get(hive, key, &nk) ||
	    !value_list(hive, &nk, &list, &count, &broken))
		return 0;
	if (count > hive->keys[index].n_values)
		count = hive->keys[index].n_values;
	*cells = arena_array(arena, count, sizeof(**cells));
	if (*cells == NULL)
		return 0;
	for (uint32_t i = 0; i < count; i++) {
		hive_cell cell = get_u32(list.data + 4 * (size_t)i);

		if (vk_get(hive, cell, &vk))
			(*cells)[n++] = cell;
	}
	return n;
}

char *hive_value_name(const struct hive *hive, hive_cell value, struct arena *arena)
{
	struct raw_name name;
	struct cell vk;

	if (!vk_get(hive, value, &vk))
		return NULL;
	name = vk_name(&vk);
	return raw_name_text(&name, arena);
}

/*
 * Big data: the list of segments, each a cell of its own. Hands out how much of `length` can be
 * reached, and copies it when `out` is not NULL.
 */
static size_t big_data(const struct hive *hive, const struct cell *db, size_t length, uint8_t *out)
{
	size_t n = get_u16(db->data + 2), done = 0;
	struct cell list, segment;

	if (!cell_get(hive, get_u32(db->data + 4), &list))
		return 0;
	/* Segments that are used again and again could promise more than any hive holds. */
	if (length > hive->bins_length)
		length = hive->bins_length;
	if (n > list.length / 4)
		n = list.length / 4;
	for (size_t i = 0; i < n && done < length; i++) {
		size_t part = length - done < SEGMENT_SIZE ? length - done : SEGMENT_SIZE;

		if (!cell_get(hive, get_u32(list.data + 4 * i), &segment))
			break;
		if (out != NULL)
			memcpy(out + done, segment.data,
			    segment.length < part ? segment.length : part);
		if (segment.length < part)
			return done + segment.length;
		done += part;
	}
	return done;
}

/* Where the data of a value stands. */
struct place {
	size_t length;       /* as the value says */
	size_t there;        /* what of it can be reached */
	const uint8_t *data; /* NULL for big data and for none */
	struct cell big;
	bool found;
};

static struct place data_place(const struct hive *hive, const struct cell *vk)
{
	uint32_t size = get_u32(vk->data + 4);
	struct place place = {.length = size & ~DATA_INLINE};
	struct cell cell;

	if ((size & DATA_INLINE) != 0) {
		place.there = place.length < 4 ? place.length : 4;
		place.data = vk->data + 8;
		place.found = true;
		return place;
	}
	if (place.length == 0) {
		place.found = true;
		return place;
	}
	if (!cell_get(hive, get_u32(vk->data + 8), &cell))
		return place;
	place.found = true;
	if (place.length > SEGMENT_SIZE && cell.length < place.length && cell.length >= 8 &&
	    memcmp(cell.data, "db", 2) == 0) {
		place.big = cell;
		place.there = big_data(hive, &cell, place.length, NULL);
		return place;
	}
	place.there = place.length < cell.length ? place.length : cell.length;
	place.data = cell.data;
	return place;
}

size_t vk_cost(const struct cell *vk)
{
	uint32_t size = get_u32(vk->data + 4);

	return (size & DATA_INLINE) != 0 ? 1 : 1 + size / SEGMENT_SIZE;
}

bool vk_is_whole(const struct hive *hive, const struct cell *vk, size_t *there)
{
	struct place place = data_place(hive, vk);

	*there = place.there;
	return place.found && place.there == place.length;
}

bool hive_value_data(const struct hive *hive, hive_cell value, struct arena *arena, uint32_t *type,
    const uint8_t **data, size_t *length, bool *cut)
{
	struct place place;
	struct cell vk;
	uint8_t *copy;

	if (!vk_get(hive, value, &vk))
		return false;
	place = data_place(hive, &vk);
	if (!place.found || (place.there == 0 && place.length != 0))
		return false;
	copy = arena_alloc(arena, place.there);
	if (copy == NULL)
		return false;
	if (place.data != NULL)
		memcpy(copy, place.data, place.there);
	else if (place.there > 0)
		big_data(hive, &place.big, place.there, copy);
	if (type != NULL)
		*type = get_u32(vk.data + 12);
	if (cut != NULL)
		*cut = place.there != place.length;
	*data = copy;
	*length = place.there;
	return true;
}
