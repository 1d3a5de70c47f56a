/*
 * Going down paths, and values by name.
 */
#include "base/buf.h"
#include "base/utf.h"
#include "hive/internal.h"

/* A lost key is found by what the list still knows of its name, when no real key has that name. */
static hive_cell find_child(const struct hive *hive, hive_cell key, const char *name, size_t length)
{
	uint32_t index = tree_index(hive, key);
	hive_cell lost = HIVE_NO_CELL;
	const struct made_up *made_up;
	struct raw_name raw;
	struct cell nk;

	if (index == NO_KEY)
		return HIVE_NO_CELL;
	for (uint32_t i = hive->keys[index].first_child; i != NO_KEY; i = hive->keys[i].next) {
		made_up = tree_made_up(hive, i);
		if (made_up != NULL && lost == HIVE_NO_CELL &&
		    hint_fits(&made_up->entry, name, length))
			lost = hive->keys[i].cell;
		if (made_up != NULL || !nk_get(hive, hive->keys[i].cell, &nk))
			continue;
		raw = nk_name(&nk);
		if (raw_name_equals(&raw, name, length))
			return hive->keys[i].cell;
	}
	return lost;
}

static hive_cell find_path(const struct hive *hive, hive_cell key, const char *path)
{
	while (*path != '\0' && key != HIVE_NO_CELL) {
		size_t length = strcspn(path, "\\");

		key = find_child(hive, key, path, length);
		path += length;
		if (*path == '\\')
			path++;
	}
	return key;
}

static unsigned steps_of(const char *path)
{
	unsigned n = *path != '\0';

	for (; *path != '\0'; path++)
		n += *path == '\\';
	return n;
}

/*
 * Lost keys of which not even the place is known stand below the root without a name. One of them
 * may be a step of the path: then the rest of the path leads on from there. Two steps must follow,
 * and only one lost key may fit.
 */
#define STEPS_THAT_PROVE 2u

static hive_cell find_below_lost(const struct hive *hive, const char *path)
{
	hive_cell found = HIVE_NO_CELL, here;

	for (const char *rest = strchr(path, '\\'); rest != NULL; rest = strchr(rest, '\\')) {
		if (steps_of(++rest) < STEPS_THAT_PROVE)
			break;
		for (size_t i = 0; i < hive->n_made_up; i++) {
			if (hive->made_up[i].entry.kind != HINT_NONE || hive->made_up[i].key == 0)
				continue;
			here = find_path(hive, hive->keys[hive->made_up[i].key].cell, rest);
			if (here != HIVE_NO_CELL && found != HIVE_NO_CELL && here != found)
				return HIVE_NO_CELL;
			if (here != HIVE_NO_CELL)
				found = here;
		}
		if (found != HIVE_NO_CELL)
			break;
	}
	return found;
}

hive_cell hive_find(const struct hive *hive, hive_cell key, const char *path)
{
	hive_cell found = find_path(hive, key, path);

	if (found == HIVE_NO_CELL && key == hive_root(hive) && hive->n_made_up > 0)
		found = find_below_lost(hive, path);
	return found;
}

hive_cell hive_find_value(const struct hive *hive, hive_cell key, const char *name)
{
	uint32_t index = tree_index(hive, key), count;
	size_t length = strlen(name);
	struct cell nk, list, vk;
	struct raw_name raw;
	bool broken;

	if (index == NO_KEY || !nk_get(hive, key, &nk) ||
	    !value_list(hive, &nk, &list, &count, &broken))
		return HIVE_NO_CELL;
	if (count > hive->keys[index].n_values)
		count = hive->keys[index].n_values;
	for (uint32_t i = 0; i < count; i++) {
		hive_cell cell = get_u32(list.data + 4 * (size_t)i);

		if (!vk_get(hive, cell, &vk))
			continue;
		raw = vk_name(&vk);
		if (raw_name_equals(&raw, name, length))
			return cell;
	}
	return HIVE_NO_CELL;
}

/* The value `name` of the key at `path`; false when something on the way is missing. */
static bool value_at(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, uint32_t *type, const uint8_t **data, size_t *length)
{
	hive_cell found = hive_find(hive, key, path);

	if (found == HIVE_NO_CELL)
		return false;
	found = hive_find_value(hive, found, name);
	return found != HIVE_NO_CELL &&
	       hive_value_data(hive, found, arena, type, data, length, NULL);
}

/* Units up to the first NUL. */
static size_t units_before_nul(const uint8_t *data, size_t units)
{
	size_t n = 0;

	while (n < units && get_u16(data + 2 * n) != 0)
		n++;
	return n;
}

char *hive_text(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, uint32_t *type)
{
	const uint8_t *data;
	size_t length;
	uint32_t found;

	if (!value_at(hive, key, path, name, arena, &found, &data, &length))
		return NULL;
	if (found != HIVE_SZ && found != HIVE_EXPAND_SZ && found != HIVE_LINK &&
	    found != HIVE_MULTI_SZ)
		return NULL;
	if (type != NULL)
		*type = found;
	return utf_arena_from_utf16(arena, data, units_before_nul(data, length / 2), NULL);
}

bool hive_number(
    const struct hive *hive, hive_cell key, const char *path, const char *name, uint64_t *number)
{
	struct arena arena = {0};
	const uint8_t *data;
	size_t length;
	uint32_t type;
	bool is_number = false;

	if (value_at(hive, key, path, name, &arena, &type, &data, &length)) {
		is_number = true;
		if (type == HIVE_DWORD && length >= 4)
			*number = get_u32(data);
		else if (type == HIVE_DWORD_BIG_ENDIAN && length >= 4)
			*number = get_u32_be(data);
		else if (type == HIVE_QWORD && length >= 8)
			*number = get_u64(data);
		else
			is_number = false;
	}
	arena_free(&arena);
	return is_number;
}

bool hive_bytes(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, const uint8_t **data, size_t *length)
{
	uint32_t type;

	return value_at(hive, key, path, name, arena, &type, data, length);
}

size_t hive_texts(const struct hive *hive, hive_cell key, const char *path, const char *name,
    struct arena *arena, char ***texts)
{
	size_t length, units, at = 0, n = 0, used;
	const uint8_t *data;
	uint32_t type;

	*texts = NULL;
	if (!value_at(hive, key, path, name, arena, &type, &data, &length) || type != HIVE_MULTI_SZ)
		return 0;
	units = length / 2;
	for (size_t i = 0; i < units; i++)
		n += get_u16(data + 2 * i) == 0;
	*texts = arena_array(arena, n + 1, sizeof(**texts));
	if (*texts == NULL)
		return 0;
	/* An empty string ends the list; the last string may lack its NUL. */
	for (n = 0; at < units; at += used + 1) {
		used = units_before_nul(data + 2 * at, units - at);
		if (used == 0)
			break;
		(*texts)[n] = utf_arena_from_utf16(arena, data + 2 * at, used, NULL);
		if ((*texts)[n] == NULL)
			return 0;
		n++;
	}
	return n;
}
