/* The table of everything that is claimed about a job: see verify_internal.h. */
#include "extract/verify_internal.h"

#include "base/bytes.h"

#include <stdlib.h>
#include <string.h>

/* SHA-256 rather than a quick hash: paths that were made to collide must not stop the work. */
static size_t slot_of(const struct table *table, const char *path)
{
	struct digest digest = digest_of(path, strlen(path));
	size_t slot = (size_t)get_u64(digest.bytes) & (table->n_slots - 1);

	while (table->slots[slot] != VERIFY_NONE &&
	    strcmp(table->items[table->slots[slot]].path, path) != 0)
		slot = (slot + 1) & (table->n_slots - 1);
	return slot;
}

static bool grow(struct table *table)
{
	size_t n_slots = table->n_slots == 0 ? 1024 : table->n_slots * 2;
	uint32_t *slots = malloc(n_slots * sizeof(*slots));

	if (slots == NULL)
		return false;
	memset(slots, 0xFF, n_slots * sizeof(*slots)); /* VERIFY_NONE */
	free(table->slots);
	table->slots = slots;
	table->n_slots = n_slots;
	for (size_t i = 0; i < table->count; i++)
		table->slots[slot_of(table, table->items[i].path)] = (uint32_t)i;
	return true;
}

struct claim *table_put(struct verify *verify, const char *path, struct error *error)
{
	struct table *table = &verify->table;
	struct claim *claim;
	size_t slot;

	/* At most two thirds full. */
	if ((table->count + 1) * 3 > table->n_slots * 2 && !grow(table)) {
		error_no_memory(error);
		return NULL;
	}
	slot = slot_of(table, path);
	if (table->slots[slot] != VERIFY_NONE)
		return &table->items[table->slots[slot]];
	if (table->count >= VERIFY_NONE - 1 ||
	    !array_reserve(&table->items, &table->capacity, table->count + 1, sizeof(*claim))) {
		error_no_memory(error);
		return NULL;
	}
	claim = &table->items[table->count];
	*claim = (struct claim){.path = arena_strdup(&verify->result->arena, path),
	    .part = VERIFY_NONE, .whole = VERIFY_NONE};
	if (claim->path == NULL) {
		error_no_memory(error);
		return NULL;
	}
	table->slots[slot] = (uint32_t)table->count++;
	return claim;
}

struct claim *table_find(struct verify *verify, const char *path)
{
	struct table *table = &verify->table;
	size_t slot;

	if (table->n_slots == 0)
		return NULL;
	slot = slot_of(table, path);
	return table->slots[slot] == VERIFY_NONE ? NULL : &table->items[table->slots[slot]];
}

void table_free(struct table *table)
{
	free(table->items);
	free(table->slots);
	*table = (struct table){0};
}

bool table_mark_above(struct verify *verify, const char *path, uint32_t flag,
    struct error *error)
{
	char *above = strdup(path);
	bool good = above != NULL || error_no_memory(error);
	char *slash;

	while (good && (slash = strrchr(above, '/')) != NULL) {
		struct claim *claim;

		*slash = '\0';
		claim = table_put(verify, above, error);
		if (claim == NULL) {
			good = false;
			break;
		}
		/* A folder that has the flag has passed it on already. */
		if ((claim->flags & CLAIM_FOLDER) != 0 && (claim->flags & flag) != 0)
			break;
		claim->flags |= CLAIM_FOLDER | flag;
	}
	free(above);
	return good;
}

/* Records name the same part again and again, or one part after the other. */
uint32_t part_find(struct verify *verify, const char *name)
{
	size_t from = verify->last_part < verify->n_parts ? verify->last_part : 0;

	for (size_t i = 0; i < verify->n_parts; i++) {
		size_t at = (from + i) % verify->n_parts;

		if (strcmp(verify->parts[at].name, name) == 0) {
			verify->last_part = (uint32_t)at;
			return (uint32_t)at;
		}
	}
	return VERIFY_NONE;
}

struct part *part_put(struct verify *verify, const char *name, struct error *error)
{
	uint32_t known = part_find(verify, name);
	struct part *part;

	if (known != VERIFY_NONE)
		return &verify->parts[known];
	if (!array_reserve(&verify->parts, &verify->parts_capacity, verify->n_parts + 1,
		sizeof(*part))) {
		error_no_memory(error);
		return NULL;
	}
	part = &verify->parts[verify->n_parts];
	*part = (struct part){
	    .name = arena_strdup(&verify->result->arena, name), .folder = verify->folder};
	if (part->name == NULL) {
		error_no_memory(error);
		return NULL;
	}
	verify->n_parts++;
	return part;
}
