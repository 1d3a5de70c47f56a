/* Folder indexes: see index.h. */
#include "ntfs/index.h"

#include "base/bytes.h"
#include "ntfs/attrlist.h"

#define MAX_INDEX ((size_t)256 << 20)
#define MAX_ROOT_INDEX ((size_t)8 << 20) /* bytes, to see whether it is sound */
#define ENTRY_LAST 2u
#define HAS_BLOCKS 1u /* in the flags of an index header */
#define FLAG_FOLDER 0x10000000u
#define NAME_HEADER 0x42u

struct walk {
	bool (*found)(void *context, const struct index_name *name);
	void *context;
};

/* One entry whose key is a $FILE_NAME of `length` bytes. */
static bool read_entry(
    const struct walk *walk, const uint8_t *entry, const uint8_t *key, size_t length)
{
	struct index_name name;

	if (length < NAME_HEADER || key[0x40] == 0 || length - NAME_HEADER < 2u * key[0x40])
		return true;
	name = (struct index_name){
	    .file = reference_get(entry),
	    .folder = reference_get(key),
	    .times = key + 8,
	    .size = get_u64(key + 0x30),
	    .is_folder = (get_u32(key + 0x38) & FLAG_FOLDER) != 0,
	    .attributes = get_u32(key + 0x38) & 0x00FFFFFF,
	    .name_units = key[0x40],
	    .space = key[0x41],
	    .name = key + NAME_HEADER,
	};
	return walk->found(walk->context, &name);
}

/* The entries behind an index header, which lies at `header` with `length` bytes behind it. */
static bool read_entries(const struct walk *walk, const uint8_t *header, size_t length)
{
	size_t at, end;

	if (length < 0x10)
		return true;
	at = get_u32(header);
	end = get_u32(header + 4);
	if (end > length)
		end = length;
	while (at < end && end - at >= 0x10) {
		const uint8_t *entry = header + at;
		size_t size = get_u16(entry + 8), key = get_u16(entry + 10);

		if ((get_u16(entry + 12) & ENTRY_LAST) != 0 || size < 0x10 || size > end - at)
			break;
		if (key <= size - 0x10 && !read_entry(walk, entry, entry + 0x10, key))
			return false;
		at += size;
	}
	return true;
}

static bool read_blocks(const struct walk *walk, struct buf *blocks, size_t size)
{
	for (size_t at = 0; blocks->length - at >= size; at += size) {
		uint8_t *block = blocks->data + at;

		if (record_fixup(block, size, SIGNATURE_INDX) &&
		    !read_entries(walk, block + 0x18, size - 0x18))
			return false;
	}
	return true;
}

bool index_names(const struct volume *volume, uint32_t folder, uint64_t *budget,
    bool (*found)(void *context, const struct index_name *name), void *context)
{
	struct walk walk = {.found = found, .context = context};
	struct buf root = {0}, blocks = {0};
	size_t size = 4096, limit = *budget < MAX_INDEX ? (size_t)*budget : MAX_INDEX;
	bool goes_on = true;

	if (attribute_load(volume, folder, ATTR_INDEX_ROOT, "$I30", RECORD_MAX_SIZE, &root) &&
	    root.length >= 0x20) {
		size = get_u32(root.data + 8);
		goes_on = read_entries(&walk, root.data + 0x10, root.length - 0x10);
	}
	/* Also what can be had of an index that cannot be read in full. */
	if (goes_on && size >= 512 && size <= RECORD_MAX_SIZE) {
		attribute_load(volume, folder, ATTR_INDEX_ALLOCATION, "$I30", limit, &blocks);
		goes_on = read_blocks(&walk, &blocks, size);
		*budget -= blocks.length;
	}
	buf_free(&root);
	buf_free(&blocks);
	return goes_on;
}

/* --- soundness --- */

/* Do the entries behind the index header follow each other to the closing one? */
static bool entries_are_sound(const uint8_t *header, size_t length)
{
	size_t at, end;

	if (length < 0x10)
		return false;
	at = get_u32(header);
	end = get_u32(header + 4);
	if (at < 0x10 || end > length)
		return false;
	while (at <= end && end - at >= 0x10) {
		size_t size = get_u16(header + at + 8), key = get_u16(header + at + 10);

		if (size < 0x10 || size > end - at || key > size - 0x10)
			return false;
		if ((get_u16(header + at + 12) & ENTRY_LAST) != 0)
			return true;
		at += size;
	}
	return false;
}

bool index_root_is_sound(const uint8_t *value, size_t length)
{
	return length >= 0x20 && entries_are_sound(value + 0x10, length - 0x10);
}

bool index_blocks_are_sound(const struct volume *volume, uint32_t folder)
{
	struct buf root = {0}, used = {0}, blocks = {0};
	bool sound = attribute_load(
	    volume, folder, ATTR_INDEX_ROOT, "$I30", RECORD_MAX_SIZE, &root) && root.length >= 0x20;
	size_t size = sound ? get_u32(root.data + 8) : 0;

	if (sound && (root.data[0x1C] & HAS_BLOCKS) != 0)
		sound = size >= 512 && size <= RECORD_MAX_SIZE &&
		    attribute_load(volume, folder, ATTR_BITMAP, "$I30", RECORD_MAX_SIZE, &used) &&
		    attribute_load(volume, folder, ATTR_INDEX_ALLOCATION, "$I30", MAX_ROOT_INDEX,
			&blocks);
	/* A block that is not in use may hold anything. */
	for (size_t i = 0; sound && i < blocks.length / size && i / 8 < used.length; i++) {
		uint8_t *block = blocks.data + i * size;

		if ((used.data[i / 8] >> i % 8 & 1) != 0)
			sound = record_fixup(block, size, SIGNATURE_INDX) &&
			    entries_are_sound(block + 0x18, size - 0x18);
	}
	buf_free(&root);
	buf_free(&used);
	buf_free(&blocks);
	return sound;
}
