/* Version resources of PE files: see version_info.h. */
#include "system/version_info.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define START 4096u          /* bytes read for the headers */
#define VERSION_LIMIT 65536u /* bytes of a version resource: its length has 16 bits */
#define TYPE_VERSION 16u
#define SECTION_LIMIT 96u
#define BLOCK_LIMIT 1024u

/* Where a PE file's resources lie. */
struct resources {
	const struct version_reader *reader;
	uint32_t address, size;          /* of the resource directory, as loaded */
	uint32_t section, raw, raw_size; /* address and place of the section that it is in */
};

static bool read_exactly(const struct resources *from, uint64_t offset, uint8_t *to, size_t length)
{
	return from->reader->read(from->reader->context, offset, to, length) == length;
}

/* --- headers --- */

static bool find_resources(struct resources *resources, struct version_info *info)
{
	uint8_t bytes[START] = {0};
	size_t have = resources->reader->read(resources->reader->context, 0, bytes, START);
	uint32_t pe, optional, directory, sections, n_sections;

	if (have < 64 || memcmp(bytes, "MZ", 2) != 0)
		return false;
	pe = get_u32(bytes + 60);
	if (pe > have || have - pe < 24 + 2 || memcmp(bytes + pe, "PE\0\0", 4) != 0)
		return false;
	optional = pe + 24;
	info->bits = get_u16(bytes + optional) == 0x20B ? 64 : 32;
	directory = optional + (info->bits == 64 ? 112 : 96);
	sections = optional + get_u16(bytes + pe + 20);
	n_sections = get_u16(bytes + pe + 6);
	if (directory > have || have - directory < 24 || n_sections > SECTION_LIMIT ||
	    get_u32(bytes + directory - 4) < 3)
		return false;
	resources->address = get_u32(bytes + directory + 16);
	resources->size = get_u32(bytes + directory + 20);
	for (uint32_t i = 0; i < n_sections && sections + 40 * (i + 1) <= have; i++) {
		const uint8_t *section = bytes + sections + 40 * i;
		uint32_t size;

		resources->section = get_u32(section + 12);
		resources->raw_size = get_u32(section + 16);
		resources->raw = get_u32(section + 20);
		size = get_u32(section + 8) > resources->raw_size ? get_u32(section + 8)
								  : resources->raw_size;
		if (resources->address >= resources->section &&
		    resources->address - resources->section < size)
			return resources->address != 0;
	}
	return false;
}

/* --- the tree of resources: type, name, language --- */

/*
 * The entry with this number (UINT32_MAX: any) in the directory at `offset` from the resources'
 * start. Gives what the entry leads to.
 */
static bool find_entry(
    const struct resources *resources, uint32_t offset, uint32_t number, uint32_t *leads_to)
{
	uint64_t start = (uint64_t)resources->raw + (resources->address - resources->section);
	uint8_t head[16], entry[8];
	unsigned count;

	if (!read_exactly(resources, start + offset, head, sizeof(head)))
		return false;
	count = get_u16(head + 12) + get_u16(head + 14);
	for (unsigned i = 0; i < count && i < BLOCK_LIMIT; i++) {
		if (!read_exactly(resources, start + offset + 16 + 8 * i, entry, sizeof(entry)))
			return false;
		if (number == UINT32_MAX || get_u32(entry) == number) {
			*leads_to = get_u32(entry + 4);
			return true;
		}
	}
	return false;
}

/* The bytes of the version resource, or NULL. */
static uint8_t *load_version(const struct resources *resources, struct arena *arena, size_t *length)
{
	uint64_t start = (uint64_t)resources->raw + (resources->address - resources->section);
	uint32_t at = 0, address;
	uint8_t entry[16], *bytes;

	if (!find_entry(resources, 0, TYPE_VERSION, &at))
		return NULL;
	for (unsigned level = 0; level < 2 && at & 0x80000000u; level++)
		if (!find_entry(resources, at & 0x7FFFFFFFu, UINT32_MAX, &at))
			return NULL;
	if (at & 0x80000000u || !read_exactly(resources, start + at, entry, sizeof(entry)))
		return NULL;
	address = get_u32(entry);
	*length = get_u32(entry + 4);
	if (address < resources->section || *length > VERSION_LIMIT)
		return NULL;
	bytes = arena_alloc(arena, *length + 1);
	if (!bytes ||
	    !read_exactly(resources, (uint64_t)resources->raw + (address - resources->section),
		bytes, *length))
		return NULL;
	return bytes;
}

/* --- VS_VERSIONINFO --- */

/* A block: length, length of its value, kind, key, value, and further blocks inside. */
struct block {
	const uint8_t *bytes;
	size_t length, value, value_length, inner; /* offsets from its start */
	char key[64];                              /* as far as it is ASCII */
};

static size_t align4(size_t at)
{
	return (at + 3) & ~(size_t)3;
}

/* Takes the block at *at of `from`, and moves on. */
static bool next_block(const uint8_t *from, size_t length, size_t *at, struct block *block)
{
	size_t place = align4(*at), key = 0, units;

	if (place > length || length - place < 6)
		return false;
	*block = (struct block){.bytes = from + place, .length = get_u16(from + place)};
	if (block->length < 6 || block->length > length - place)
		return false;
	for (units = 6; units + 2 <= block->length; units += 2) {
		uint16_t unit = get_u16(block->bytes + units);

		if (unit == 0)
			break;
		if (key + 1 < sizeof(block->key))
			block->key[key++] = unit < 0x80 ? (char)unit : '?';
	}
	block->value = align4(units + 2);
	block->value_length = get_u16(block->bytes + 2);
	if (get_u16(block->bytes + 4) == 1)
		block->value_length *= 2; /* text: counted in units */
	if (block->value > block->length)
		block->value = block->length;
	/* Some compilers count text in bytes. */
	if (block->value_length > block->length - block->value)
		block->value_length = block->length - block->value;
	block->inner = block->value + block->value_length;
	*at = place + block->length;
	return true;
}

static void take_string(const struct block *string, struct arena *arena, struct version_info *info)
{
	const struct {
		const char *key;
		const char **text;
	} wanted[] = {{"ProductName", &info->product}, {"CompanyName", &info->company},
	    {"ProductVersion", &info->version}, {"FileDescription", &info->description},
	    {"OriginalFilename", &info->file_name}};
	size_t units = 0;
	char *text;

	while (units < string->value_length / 2 &&
	       get_u16(string->bytes + string->value + 2 * units) != 0)
		units++;
	while (units > 0 && get_u16(string->bytes + string->value + 2 * (units - 1)) == ' ')
		units--;
	for (size_t i = 0; i < sizeof(wanted) / sizeof(wanted[0]); i++)
		if (strcmp(string->key, wanted[i].key) == 0 && units > 0 && !**wanted[i].text) {
			text =
			    utf_arena_from_utf16(arena, string->bytes + string->value, units, NULL);
			if (text)
				*wanted[i].text = text;
		}
}

/* All strings of all languages; the first language that tells something wins. */
static void take_strings(
    const struct block *info_block, struct arena *arena, struct version_info *info)
{
	struct block table, string;
	size_t at = info_block->inner, inner;

	for (unsigned i = 0;
	     i < BLOCK_LIMIT && next_block(info_block->bytes, info_block->length, &at, &table);
	     i++) {
		inner = table.inner;
		for (unsigned k = 0;
		     k < BLOCK_LIMIT && next_block(table.bytes, table.length, &inner, &string); k++)
			take_string(&string, arena, info);
	}
}

static void take_fixed(const struct block *root, struct arena *arena, struct version_info *info)
{
	const uint8_t *fixed = root->bytes + root->value;
	char *text;

	if (*info->version || root->value_length < 24 || get_u32(fixed) != 0xFEEF04BDu)
		return;
	text = arena_printf(arena, "%u.%u.%u.%u", get_u16(fixed + 18), get_u16(fixed + 16),
	    get_u16(fixed + 22), get_u16(fixed + 20));
	if (text)
		info->version = text;
}

bool version_info_read_program(
    const struct version_reader *reader, struct arena *arena, struct version_info *info)
{
	struct resources resources = {.reader = reader};
	struct arena work = {0};
	struct block root, block;
	uint8_t *bytes;
	size_t length = 0, at = 0;
	bool good = false;

	*info = (struct version_info){
	    .product = "", .company = "", .version = "", .description = "", .file_name = ""};
	if (!find_resources(&resources, info))
		return false;
	bytes = load_version(&resources, &work, &length);
	if (bytes && next_block(bytes, length, &at, &root) &&
	    strcmp(root.key, "VS_VERSION_INFO") == 0) {
		good = true;
		at = root.inner;
		for (unsigned i = 0;
		     i < BLOCK_LIMIT && next_block(root.bytes, root.length, &at, &block); i++)
			if (strcmp(block.key, "StringFileInfo") == 0)
				take_strings(&block, arena, info);
		take_fixed(&root, arena, info);
	}
	arena_free(&work);
	return good;
}
