/* Jump lists: see jump_list.h. */
#include "system/jump_list.h"

#include "base/buf.h"
#include "base/bytes.h"
#include "base/utf.h"
#include "system/compound.h"

#include <stdio.h>
#include <string.h>

#define LIST_HEADER 32u
#define ENTRY_LIMIT 4096u
#define CATEGORY_LIMIT 64u
#define CATEGORY_END 0xBABFFBABu

static const uint8_t link_class[16] = {
    0x01, 0x14, 0x02, 0, 0, 0, 0, 0, 0xC0, 0, 0, 0, 0, 0, 0, 0x46};

/* --- automatic --- */

/* The link of an entry lies in the stream that is called by its number in hexadecimal digits. */
static void take_link(
    const struct compound *file, uint32_t number, struct arena *arena, struct jump_entry *entry)
{
	const struct compound_entry *stream;
	struct arena work = {0};
	char name[16];
	uint8_t *bytes;
	size_t length;

	snprintf(name, sizeof(name), "%x", (unsigned)number);
	stream = compound_find(file, name);
	if (!stream)
		return;
	bytes = compound_load(file, stream, SHELL_LINK_LIMIT, &work, &length);
	entry->has_link = bytes && shell_link_read(bytes, length, arena, &entry->link);
	arena_free(&work);
}

static bool read_dest_list(const struct compound *file, const uint8_t *bytes, size_t length,
    struct arena *arena, struct jump_list *list)
{
	size_t fixed, behind, at = LIST_HEADER;
	uint32_t count;

	if (length < LIST_HEADER)
		return false;
	list->version = get_u32(bytes);
	count = get_u32(bytes + 4);
	if (list->version < 1 || list->version > 4)
		return false;
	fixed = list->version == 1 ? 114 : 130;
	behind = list->version == 1 ? 0 : 4;
	if (count > ENTRY_LIMIT)
		count = ENTRY_LIMIT;
	if (count > length / fixed)
		count = (uint32_t)(length / fixed);
	list->entries = arena_array(arena, (size_t)count + 1, sizeof(*list->entries));
	if (!list->entries)
		return false;
	for (uint32_t i = 0; i < count && length - at >= fixed; i++) {
		struct jump_entry *entry = &list->entries[list->n_entries];
		size_t units = get_u16(bytes + at + fixed - 2);

		if (units > (length - at - fixed) / 2)
			break;
		entry->path = utf_arena_from_utf16(arena, bytes + at + fixed, units, NULL);
		entry->last = (int64_t)get_u64(bytes + at + 100);
		entry->is_pinned = (int32_t)get_u32(bytes + at + 108) >= 0;
		if (!entry->path)
			return false;
		take_link(file, get_u32(bytes + at + 88), arena, entry);
		list->n_entries++;
		at += fixed + 2 * units;
		at = length - at < behind ? length : at + behind;
	}
	return true;
}

bool jump_list_read_automatic(
    const uint8_t *data, size_t length, struct arena *arena, struct jump_list *list)
{
	struct arena work = {0};
	struct compound file;
	const struct compound_entry *stream = NULL;
	uint8_t *bytes = NULL;
	size_t size = 0;
	bool good = false;

	*list = (struct jump_list){0};
	if (compound_open(data, length, &work, &file))
		stream = compound_find(&file, "DestList");
	if (stream)
		bytes = compound_load(&file, stream, JUMP_LIST_LIMIT, &work, &size);
	if (bytes)
		good = read_dest_list(&file, bytes, size, arena, list);
	else
		good = stream && stream->size == 0; /* an empty list */
	arena_free(&work);
	return good;
}

/* --- custom --- */

/* The entries of one category, from *at on. False when they are broken: the rest cannot be found.
 */
static bool read_links(const uint8_t *data, size_t length, size_t *at, uint32_t count,
    struct arena *arena, struct jump_list *list, size_t *capacity)
{
	for (uint32_t i = 0; i < count; i++) {
		struct jump_entry *entry;

		if (length - *at < 16 || memcmp(data + *at, link_class, 16) != 0 ||
		    list->n_entries >= *capacity)
			return false;
		*at += 16;
		entry = &list->entries[list->n_entries];
		if (!shell_link_read(data + *at, length - *at, arena, &entry->link))
			return false;
		*at += entry->link.length;
		entry->has_link = true;
		entry->path = entry->link.target;
		list->n_entries++;
	}
	return true;
}

static bool read_category(const uint8_t *data, size_t length, size_t *at, struct arena *arena,
    struct jump_list *list, size_t *capacity)
{
	uint32_t kind, count = 0;

	if (length - *at < 8)
		return false;
	kind = get_u32(data + *at);
	*at += 4;
	if (kind == 0) {
		size_t units = get_u16(data + *at);

		if (length - *at < 2 + 2 * units + 4)
			return false;
		*at += 2 + 2 * units;
	} else if (kind > 2) {
		return false;
	}
	if (kind != 1)
		count = get_u32(data + *at);
	*at += 4;
	if (!read_links(data, length, at, count, arena, list, capacity))
		return false;
	if (length - *at < 4 || get_u32(data + *at) != CATEGORY_END)
		return false;
	*at += 4;
	return true;
}

bool jump_list_read_custom(
    const uint8_t *data, size_t length, struct arena *arena, struct jump_list *list)
{
	size_t at = 12, capacity = length / 92; /* class and header of each */
	uint32_t count;

	*list = (struct jump_list){0};
	if (length < 12 || get_u32(data) != 2)
		return false;
	list->version = 2;
	if (capacity > ENTRY_LIMIT)
		capacity = ENTRY_LIMIT;
	list->entries = arena_array(arena, capacity + 1, sizeof(*list->entries));
	if (!list->entries)
		return false;
	count = get_u32(data + 4);
	for (uint32_t i = 0; i < count && i < CATEGORY_LIMIT; i++)
		if (!read_category(data, length, &at, arena, list, &capacity))
			break;
	return true;
}

/* --- names of the files --- */

uint64_t jump_list_number(const char *identity)
{
	const char *end = identity + strlen(identity);
	struct buf upper = {0}, wide = {0};
	uint64_t crc = UINT64_MAX;

	while (identity < end)
		utf_add(&upper, utf_upcase(utf_next(&identity, end)));
	utf_to_utf16(&wide, buf_text(&upper));
	for (size_t i = 0; i < wide.length; i++) {
		crc ^= wide.data[i];
		for (unsigned bit = 0; bit < 8; bit++)
			crc = crc & 1 ? crc >> 1 ^ UINT64_C(0x92c64265d32139a4) : crc >> 1;
	}
	buf_free(&upper);
	buf_free(&wide);
	return crc;
}
