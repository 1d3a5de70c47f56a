/* File records: see record.h. */
#include "ntfs/record.h"

#include "base/bytes.h"

#include <string.h>

#define HEADER_SIZE 0x2Au
#define RESIDENT_HEADER 0x18u
#define RUNS_HEADER 0x40u
#define TYPE_END 0xFFFFFFFFu

struct reference reference_get(const uint8_t *bytes)
{
	uint64_t number = get_u64(bytes) & UINT64_C(0xFFFFFFFFFFFF);

	return (struct reference){
	    .record = number >= UINT32_MAX ? UINT32_MAX : (uint32_t)number,
	    .sequence = get_u16(bytes + 6),
	};
}

bool record_fixup(uint8_t *bytes, size_t size, uint32_t signature)
{
	size_t array, count, stride;

	if (size < 512 || get_u32(bytes) != signature)
		return false;
	array = get_u16(bytes + 4);
	count = get_u16(bytes + 6);
	if (count < 2 || array % 2 != 0 || array < 8 || size % (count - 1) != 0)
		return false;
	stride = size / (count - 1);
	if (stride < 512 || stride % 512 != 0 || array + 2 * count > stride - 2)
		return false;
	for (size_t i = 1; i < count; i++) {
		if (memcmp(bytes + i * stride - 2, bytes + array, 2) != 0)
			return false;
	}
	for (size_t i = 1; i < count; i++)
		memcpy(bytes + i * stride - 2, bytes + array + 2 * i, 2);
	return true;
}

bool record_open(struct record *record, uint8_t *bytes, size_t size)
{
	uint16_t flags;

	if (!record_fixup(bytes, size, SIGNATURE_FILE))
		return false;
	flags = get_u16(bytes + 0x16);
	*record = (struct record){
	    .bytes = bytes,
	    .used = get_u32(bytes + 0x18),
	    .first = get_u16(bytes + 0x14),
	    .sequence = get_u16(bytes + 0x10),
	    .in_use = (flags & 1) != 0,
	    .is_folder = (flags & 2) != 0,
	    .is_extension = get_u64(bytes + 0x20) != 0,
	    .base = reference_get(bytes + 0x20),
	};
	return record->used <= size && record->first >= HEADER_SIZE && record->first % 8 == 0 &&
	       record->first <= record->used;
}

static bool read_resident(const uint8_t *bytes, size_t length, struct attribute *attribute)
{
	size_t offset;

	if (length < RESIDENT_HEADER)
		return false;
	attribute->value_length = get_u32(bytes + 0x10);
	offset = get_u16(bytes + 0x14);
	if (offset > length || attribute->value_length > length - offset)
		return false;
	attribute->value = bytes + offset;
	return true;
}

static bool read_runs(const uint8_t *bytes, size_t length, struct attribute *attribute)
{
	uint64_t highest;
	size_t offset;

	if (length < RUNS_HEADER)
		return false;
	attribute->lowest = get_u64(bytes + 0x10);
	highest = get_u64(bytes + 0x18); /* -1 for a stream without clusters */
	attribute->end = highest + 1;
	offset = get_u16(bytes + 0x20);
	attribute->unit_shift = bytes[0x22];
	attribute->size = get_u64(bytes + 0x30);
	attribute->initialized = get_u64(bytes + 0x38);
	if (offset < RUNS_HEADER || offset > length || attribute->lowest > attribute->end)
		return false;
	attribute->pairs = bytes + offset;
	attribute->pairs_length = length - offset;
	return true;
}

enum attribute_step attribute_next(
    const struct record *record, size_t *position, struct attribute *attribute)
{
	size_t at = *position == 0 ? record->first : *position;
	const uint8_t *bytes = record->bytes + at;
	size_t length, name_offset;

	if (at + 4 > record->used)
		return ATTRIBUTE_BROKEN; /* the end mark is missing */
	if (get_u32(bytes) == TYPE_END)
		return ATTRIBUTE_END;
	if (record->used - at < 0x10)
		return ATTRIBUTE_BROKEN;
	length = get_u32(bytes + 4);
	if (length < 0x10 || length % 8 != 0 || length > record->used - at)
		return ATTRIBUTE_BROKEN;
	*attribute = (struct attribute){
	    .type = get_u32(bytes),
	    .is_resident = bytes[8] == 0,
	    .name_units = bytes[9],
	    .flags = get_u16(bytes + 12),
	    .instance = get_u16(bytes + 14),
	};
	name_offset = get_u16(bytes + 10);
	if (attribute->name_units > 0 &&
	    (name_offset > length || 2 * attribute->name_units > length - name_offset))
		return ATTRIBUTE_BROKEN;
	attribute->name = bytes + (attribute->name_units > 0 ? name_offset : 0);
	if (attribute->is_resident ? !read_resident(bytes, length, attribute)
				   : !read_runs(bytes, length, attribute))
		return ATTRIBUTE_BROKEN;
	if (attribute->is_resident)
		attribute->value_offset = (size_t)(attribute->value - record->bytes);
	*position = at + length;
	return ATTRIBUTE_GOOD;
}

const struct attribute *record_find(
    const struct record *record, uint32_t type, struct attribute *attribute)
{
	size_t position = 0;

	while (attribute_next(record, &position, attribute) == ATTRIBUTE_GOOD) {
		if (attribute->type == type && attribute->name_units == 0)
			return attribute;
	}
	return NULL;
}
