/* From a file record to its pieces: see piece.h. */
#include "ntfs/piece.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "ntfs/index.h"
#include "ntfs/wof.h"

#include <stdlib.h>
#include <string.h>

#define NAME_HEADER 0x42u
#define LATEST_TIME INT64_C(2650467743999999999) /* FILETIME: the end of the year 9999 */
#define MAX_DESCRIPTOR 65536u /* bytes, of which the owner may be the last */

void pieces_free(struct pieces *pieces)
{
	free(pieces->items);
	buf_free(&pieces->runs);
	*pieces = (struct pieces){0};
}

void pieces_clear(struct pieces *pieces)
{
	pieces->count = 0;
	buf_clear(&pieces->runs);
}

struct piece *pieces_add(struct pieces *pieces)
{
	if (!array_reserve(
		&pieces->items, &pieces->capacity, pieces->count + 1, sizeof(*pieces->items))) {
		pieces->failed = true;
		return NULL;
	}
	pieces->items[pieces->count] = (struct piece){.order = (uint32_t)pieces->count};
	return &pieces->items[pieces->count++];
}

/* Room for `more` bytes in the pool, whose offsets have 32 bits. */
static char *pool_reserve(struct catalogue *catalogue, size_t more)
{
	if (catalogue->names_length + more >= NONE ||
	    !array_reserve(
		&catalogue->names, &catalogue->names_capacity, catalogue->names_length + more, 1))
		return NULL;
	return catalogue->names + catalogue->names_length;
}

uint32_t pool_add_text(struct catalogue *catalogue, const char *text)
{
	size_t length = strlen(text) + 1;
	uint32_t offset = (uint32_t)catalogue->names_length;
	char *room = pool_reserve(catalogue, length);

	if (room == NULL)
		return NONE;
	memcpy(room, text, length);
	catalogue->names_length += length;
	return offset;
}

uint32_t pool_add(struct catalogue *catalogue, const uint8_t *bytes, size_t units)
{
	uint32_t offset = (uint32_t)catalogue->names_length;
	char *room = pool_reserve(catalogue, units + 1);
	struct buf text = {0};
	size_t i = 0;

	if (units == 0)
		return 0; /* the empty text */
	if (room == NULL)
		return NONE;
	/* Most names are plain ASCII and need no conversion. */
	while (i < units && bytes[2 * i + 1] == 0 && bytes[2 * i] != 0 && bytes[2 * i] < 0x80) {
		room[i] = (char)bytes[2 * i];
		i++;
	}
	if (i == units) {
		room[i] = 0;
		catalogue->names_length += units + 1;
		return offset;
	}
	utf_from_utf16(&text, bytes, units);
	offset = text.failed ? NONE : pool_add_text(catalogue, buf_text(&text));
	buf_free(&text);
	return offset;
}

/* What all gathering functions need. */
struct gather {
	struct catalogue *catalogue;
	struct owners *owners;
	struct pieces *pieces;
	const struct record *record;
	uint32_t number;
	uint32_t base;
	uint16_t base_sequence;
	struct node *node; /* NULL for an extension record */
	uint64_t *indexes_damaged;
};

static struct piece *add(struct gather *gather, enum piece_kind kind)
{
	struct piece *piece = pieces_add(gather->pieces);

	if (piece == NULL)
		return NULL;
	piece->kind = (uint8_t)kind;
	piece->base = gather->base;
	piece->base_sequence = gather->base_sequence;
	piece->record = gather->number;
	return piece;
}

static void gather_times(struct node *node, const uint8_t *times)
{
	node->created = (int64_t)get_u64(times);
	node->modified = (int64_t)get_u64(times + 8);
	node->changed = (int64_t)get_u64(times + 16);
	node->accessed = (int64_t)get_u64(times + 24);
}

/* 0 is a time that nobody set; no clock was ever beyond the year 9999. */
static bool times_make_sense(const struct node *node)
{
	const int64_t times[] = {node->created, node->modified, node->changed, node->accessed};

	for (size_t i = 0; i < sizeof(times) / sizeof(times[0]); i++) {
		if (times[i] < 0 || times[i] > LATEST_TIME)
			return false;
	}
	return true;
}

static void gather_standard(struct gather *gather, const struct attribute *attribute)
{
	if (gather->node == NULL || !attribute->is_resident || attribute->value_length < 0x24)
		return;
	gather_times(gather->node, attribute->value);
	if (times_make_sense(gather->node))
		gather->node->flags &= (uint16_t)~NODE_NO_TIMES;
	gather->node->attributes = get_u32(attribute->value + 0x20) & 0x00FFFFFF;
	if (attribute->value_length >= 0x38)
		gather->node->owner =
		    owners_find(gather->owners, get_u32(attribute->value + 0x34));
}

static bool gather_name(struct gather *gather, const struct attribute *attribute)
{
	const uint8_t *value = attribute->value;
	struct piece *piece;
	size_t units;

	if (!attribute->is_resident || attribute->value_length < NAME_HEADER)
		return false;
	units = value[0x40];
	if (units == 0 || attribute->value_length - NAME_HEADER < 2 * units)
		return false;
	if (gather->node != NULL && (gather->node->flags & NODE_NO_TIMES) != 0) {
		gather_times(gather->node, value + 8);
		gather->node->attributes = get_u32(value + 0x38) & 0x00FFFFFF;
	}
	piece = add(gather, PIECE_NAME);
	if (piece == NULL)
		return true;
	piece->parent = reference_get(value);
	piece->space = value[0x41];
	piece->name = pool_add(gather->catalogue, value + NAME_HEADER, units);
	if (piece->name == NONE)
		gather->pieces->failed = true;
	return true;
}

/* Decodes the runs of an attribute into the packed buffer. Returns the clusters allocated. */
static uint64_t gather_runs(
    struct gather *gather, const struct attribute *attribute, struct piece *piece)
{
	const struct volume *volume = gather->catalogue->volume;
	struct run_list list = {0};
	uint64_t clusters = 0;

	if (!runs_decode(&list, attribute->pairs, attribute->pairs_length,
		attribute->end - attribute->lowest, volume->clusters))
		piece->flags |= PIECE_BROKEN;
	for (size_t i = 0; i < list.count; i++) {
		if (list.items[i].lcn < RUN_LOST)
			clusters += list.items[i].length;
	}
	piece->runs = gather->pieces->runs.length;
	piece->end = attribute->lowest + run_list_end(&list);
	if (attribute->lowest > RUNS_MAX_CLUSTERS || piece->end > RUNS_MAX_CLUSTERS) {
		piece->flags |= PIECE_BROKEN | PIECE_MISSING;
		piece->end = piece->lowest;
		list.count = 0;
		clusters = 0;
	}
	if (piece->kind == PIECE_DATA)
		runs_pack(&gather->pieces->runs, list.items, list.count);
	piece->runs_length = gather->pieces->runs.length - piece->runs;
	if (list.failed || gather->pieces->runs.failed)
		gather->pieces->failed = true;
	run_list_free(&list);
	return clusters;
}

static void gather_data(struct gather *gather, const struct attribute *attribute)
{
	struct piece *piece = add(gather, PIECE_DATA);

	if (piece == NULL)
		return;
	if (attribute->type == ATTR_DATA) {
		piece->name = pool_add(gather->catalogue, attribute->name, attribute->name_units);
	} else {
		piece->name = pool_add_text(gather->catalogue, STREAM_KEY_NAME);
		piece->stream_flags |= STREAM_KEY;
	}
	if (piece->name == NONE)
		gather->pieces->failed = true;
	if ((attribute->flags & ATTR_FLAG_COMPRESSED) != 0)
		piece->stream_flags |= STREAM_COMPRESSED;
	if ((attribute->flags & ATTR_FLAG_SPARSE) != 0)
		piece->stream_flags |= STREAM_SPARSE;
	if ((attribute->flags & ATTR_FLAG_ENCRYPTED) != 0)
		piece->stream_flags |= STREAM_ENCRYPTED;
	if (attribute->is_resident) {
		piece->stream_flags |= STREAM_RESIDENT;
		piece->size = piece->initialized = attribute->value_length;
		piece->runs = resident_location(gather->number, attribute->value_offset);
		return;
	}
	piece->lowest = attribute->lowest;
	piece->size = attribute->size;
	piece->initialized = attribute->initialized;
	piece->unit_shift = attribute->unit_shift;
	piece->clusters = gather_runs(gather, attribute, piece);
}

static void gather_reparse(struct gather *gather, const struct attribute *attribute)
{
	struct buf bytes = {0};
	struct piece *piece;

	if (!attribute->is_resident && attribute->lowest != 0)
		return;
	attribute_bytes(gather->catalogue->volume, attribute, 16384, &bytes);
	piece = add(gather, PIECE_REPARSE);
	if (piece != NULL && bytes.length >= 4)
		piece->size = get_u32(bytes.data);
	if (piece != NULL)
		piece->method = (uint8_t)wof_method(bytes.data, bytes.length);
	buf_free(&bytes);
}

/* A descriptor of the file's own: on volumes of older systems, and of the file system's own files. */
static void gather_descriptor(struct gather *gather, const struct attribute *attribute)
{
	struct buf bytes = {0};
	struct piece *piece;

	if (!attribute->is_resident && attribute->lowest != 0)
		return;
	piece = add(gather, PIECE_OWNER);
	if (piece == NULL)
		return;
	attribute_bytes(gather->catalogue->volume, attribute, MAX_DESCRIPTOR, &bytes);
	piece->name =
	    owners_of_descriptor(gather->owners, gather->catalogue, bytes.data, bytes.length);
	buf_free(&bytes);
}

static void gather_other(struct gather *gather, const struct attribute *attribute)
{
	struct piece *piece;
	uint64_t clusters;

	if (attribute->is_resident)
		return;
	piece = add(gather, PIECE_OTHER);
	if (piece == NULL)
		return;
	clusters = gather_runs(gather, attribute, piece);
	piece->clusters = clusters;
}

/* Every record that the attribute list names, so that a missing one is noticed. */
static void gather_list(struct gather *gather, const struct attribute *attribute)
{
	struct list_item item;
	struct buf list = {0};
	size_t position = 0;
	/* All lists together cannot have more items than all records have attributes. */
	size_t limit = gather->catalogue->n_nodes * (gather->catalogue->volume->record_size / 0x18);
	bool broken = false;

	if (!attribute_bytes(gather->catalogue->volume, attribute, ATTRLIST_MAX, &list))
		gather->node->flags |= NODE_DAMAGED;
	while (attrlist_next(list.data, list.length, &position, &item, &broken)) {
		struct piece *piece;

		if (item.reference.record == gather->number)
			continue;
		if (gather->pieces->count > limit) {
			broken = true;
			break;
		}
		piece = add(gather, PIECE_REFERENCE);
		if (piece == NULL)
			break;
		piece->parent = item.reference;
		piece->type = item.type;
		piece->lowest = item.lowest;
		if (item.type == ATTR_DATA) {
			piece->name = pool_add(gather->catalogue, item.name, item.name_units);
			if (piece->name == NONE)
				gather->pieces->failed = true;
		}
	}
	if (broken)
		gather->node->flags |= NODE_DAMAGED;
	buf_free(&list);
}

static void gather_attribute(struct gather *gather, const struct attribute *attribute)
{
	switch (attribute->type) {
	case ATTR_STANDARD_INFORMATION:
		gather_standard(gather, attribute);
		break;
	case ATTR_LIST:
		if (gather->node != NULL) /* an extension record cannot have one */
			gather_list(gather, attribute);
		break;
	case ATTR_SECURITY_DESCRIPTOR:
		gather_descriptor(gather, attribute);
		break;
	case ATTR_FILE_NAME:
		if (!gather_name(gather, attribute) && gather->node != NULL)
			gather->node->flags |= NODE_DAMAGED;
		return;
	case ATTR_DATA:
		gather_data(gather, attribute);
		return;
	case ATTR_LOGGED_UTILITY_STREAM:
		if (!attribute_is_named(attribute->name, attribute->name_units, "$EFS"))
			break;
		gather_data(gather, attribute);
		return;
	case ATTR_INDEX_ROOT:
		if (attribute->is_resident &&
		    attribute_is_named(attribute->name, attribute->name_units, "$I30"))
			*gather->indexes_damaged +=
			    !index_root_is_sound(attribute->value, attribute->value_length);
		break;
	case ATTR_REPARSE_POINT:
		gather_reparse(gather, attribute);
		break;
	default:
		break;
	}
	gather_other(gather, attribute);
}

void record_gather(struct builder *builder, uint32_t number, const struct record *record,
    struct pieces *pieces)
{
	struct gather gather = {
	    .catalogue = builder->catalogue,
	    .owners = &builder->owners,
	    .pieces = pieces,
	    .record = record,
	    .number = number,
	    .base = number,
	    .base_sequence = record->sequence,
	    .indexes_damaged = &builder->indexes_damaged,
	};
	struct attribute attribute;
	enum attribute_step step;
	size_t position = 0, at = pieces->count;

	if (record->is_extension) {
		gather.base = record->base.record;
		gather.base_sequence = record->base.sequence;
		add(&gather, PIECE_RECORD);
	} else {
		gather.node = &builder->catalogue->nodes[number];
		gather.node->sequence = record->sequence;
		gather.node->flags = NODE_IN_USE | NODE_NO_TIMES;
		if (record->is_folder)
			gather.node->flags |= NODE_FOLDER;
	}
	while ((step = attribute_next(record, &position, &attribute)) == ATTRIBUTE_GOOD)
		gather_attribute(&gather, &attribute);
	if (step != ATTRIBUTE_BROKEN)
		return;
	if (gather.node != NULL)
		gather.node->flags |= NODE_DAMAGED;
	else if (at < pieces->count)
		pieces->items[at].flags |= PIECE_BROKEN;
}
