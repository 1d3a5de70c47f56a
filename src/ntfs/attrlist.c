/* Attribute lists: see attrlist.h. */
#include "ntfs/attrlist.h"

#include "base/bytes.h"
#include "ntfs/table.h"

#include <stdlib.h>
#include <string.h>

#define ITEM_HEADER 0x1Au
#define MAX_EXTENTS 4096u /* of a small attribute, far more than any has */

bool attrlist_next(
    const uint8_t *list, size_t length, size_t *position, struct list_item *item, bool *broken)
{
	const uint8_t *bytes = list + *position;
	size_t left = length - *position, size, name_offset;

	if (left < 4 || get_u32(bytes) == 0) {
		return false;
	}
	*broken = true;
	if (left < ITEM_HEADER)
		return false;
	size = get_u16(bytes + 4);
	name_offset = bytes[7];
	*item = (struct list_item){
	    .type = get_u32(bytes),
	    .name_units = bytes[6],
	    .lowest = get_u64(bytes + 8),
	    .reference = reference_get(bytes + 0x10),
	};
	if (size < ITEM_HEADER || size % 8 != 0 || size > left ||
	    (item->name_units > 0 &&
		(name_offset > size || 2 * item->name_units > size - name_offset)))
		return false;
	item->name = bytes + (item->name_units > 0 ? name_offset : 0);
	*broken = false;
	*position += size;
	return true;
}

/* Reads `length` bytes that the runs hold from stream offset 0, behind `out`. */
static bool read_list(
    const struct volume *volume, const struct run_list *list, size_t length, struct buf *out)
{
	uint8_t *room = buf_reserve(out, length);
	bool good;

	if (room == NULL)
		return false;
	memset(room, 0, length);
	good = table_read_runs(volume, list->items, list->count, 0, room, length, NULL);
	buf_added(out, length);
	return good;
}

bool attribute_bytes(
    const struct volume *volume, const struct attribute *attribute, size_t limit, struct buf *out)
{
	struct run_list list = {0};
	size_t length;
	bool good;

	if (attribute->is_resident) {
		length = attribute->value_length < limit ? attribute->value_length : limit;
		buf_add(out, attribute->value, length);
		return length == attribute->value_length && !out->failed;
	}
	length = attribute->size < limit ? (size_t)attribute->size : limit;
	good = attribute->lowest == 0 && length == attribute->size;
	good = runs_decode(&list, attribute->pairs, attribute->pairs_length, attribute->end,
		   volume->clusters) &&
	       good;
	if (attribute->initialized < length)
		length = (size_t)attribute->initialized;
	good = read_list(volume, &list, length, out) && good && !list.failed && !out->failed;
	run_list_free(&list);
	return good;
}

bool attribute_is_named(const uint8_t *units, size_t n_units, const char *name)
{
	if (strlen(name) != n_units)
		return false;
	for (size_t i = 0; i < n_units; i++) {
		if (get_u16(units + 2 * i) != (uint8_t)name[i])
			return false;
	}
	return true;
}

/* Finds the piece of an attribute that starts at VCN `lowest` in one of a file's records. */
static bool find_piece(const struct record *record, uint32_t type, const char *name,
    uint64_t lowest, struct attribute *attribute)
{
	size_t position = 0;

	while (attribute_next(record, &position, attribute) == ATTRIBUTE_GOOD) {
		if (attribute->type == type &&
		    attribute_is_named(attribute->name, attribute->name_units, name) &&
		    (attribute->is_resident ? 0 : attribute->lowest) == lowest)
			return true;
	}
	return false;
}

/* An attribute that the list sends us for: its pieces in the order of the list. */
struct joined {
	const struct volume *volume;
	uint32_t number;
	uint32_t type;
	const char *name;
	struct run_list runs;
	uint64_t size;
	unsigned pieces;
};

static bool join_piece(struct joined *joined, const struct list_item *item, size_t limit,
    uint8_t *bytes, struct buf *out)
{
	const struct volume *volume = joined->volume;
	struct run_list list = {0};
	struct attribute attribute;
	struct record record;
	bool good;

	if (table_load(volume, item->reference.record, bytes, &record) != RECORD_GOOD)
		return false;
	if (item->reference.record != joined->number && record.base.record != joined->number)
		return false;
	if (!find_piece(&record, joined->type, joined->name, item->lowest, &attribute))
		return false;
	if (attribute.is_resident) {
		joined->pieces = MAX_EXTENTS;
		return attribute_bytes(volume, &attribute, limit, out);
	}
	if (attribute.lowest == 0)
		joined->size =
		    attribute.initialized < attribute.size ? attribute.initialized : attribute.size;
	if (attribute.lowest != run_list_end(&joined->runs))
		return false;
	good = runs_decode(&list, attribute.pairs, attribute.pairs_length,
	    attribute.end - attribute.lowest, volume->clusters);
	for (size_t i = 0; i < list.count; i++)
		run_list_add(&joined->runs, list.items[i].lcn, list.items[i].length);
	good = good && !list.failed;
	run_list_free(&list);
	joined->pieces++;
	return good;
}

static bool load_listed(
    struct joined *joined, const struct buf *list, size_t limit, struct buf *out)
{
	uint8_t *bytes = malloc(joined->volume->record_size);
	struct list_item item;
	size_t position = 0;
	bool broken = false, good = bytes != NULL;

	while (good && joined->pieces < MAX_EXTENTS &&
	       attrlist_next(list->data, list->length, &position, &item, &broken)) {
		if (item.type == joined->type &&
		    attribute_is_named(item.name, item.name_units, joined->name))
			good = join_piece(joined, &item, limit, bytes, out);
	}
	free(bytes);
	if (joined->pieces == 0)
		return false;
	if (joined->pieces < MAX_EXTENTS) {
		size_t length = joined->size < limit ? (size_t)joined->size : limit;

		good = good && length == joined->size;
		good = read_list(joined->volume, &joined->runs, length, out) && good;
	}
	return good && !broken && !joined->runs.failed && !out->failed;
}

bool attribute_load(const struct volume *volume, uint32_t number, uint32_t type, const char *name,
    size_t limit, struct buf *out)
{
	uint8_t *bytes = malloc(volume->record_size);
	struct joined joined = {.volume = volume, .number = number, .type = type, .name = name};
	struct attribute attribute;
	struct record record;
	struct buf list = {0};
	bool good = false;

	if (bytes == NULL || table_load(volume, number, bytes, &record) != RECORD_GOOD) {
		free(bytes);
		return false;
	}
	if (record_find(&record, ATTR_LIST, &attribute) != NULL) {
		good = attribute_bytes(volume, &attribute, ATTRLIST_MAX, &list);
		good = load_listed(&joined, &list, limit, out) && good;
	} else if (find_piece(&record, type, name, 0, &attribute)) {
		good = attribute_bytes(volume, &attribute, limit, out);
	}
	run_list_free(&joined.runs);
	buf_free(&list);
	free(bytes);
	return good;
}
