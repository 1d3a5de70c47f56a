/* Owners by their security descriptors: see owners.h. */
#include "ntfs/owners.h"

#include "base/bytes.h"
#include "base/guid.h"
#include "ntfs/attrlist.h"
#include "ntfs/piece.h"

#include <stdlib.h>
#include <string.h>

#define MAX_DESCRIPTORS ((size_t)32 << 20) /* bytes of $SDS; a usual volume has a few MiB */
#define BLOCK ((size_t)256 << 10)          /* then comes its copy */
#define ALIGNMENT 16u
#define ENTRY_HEADER 0x14u
#define DESCRIPTOR_HEADER 0x14u

void owners_free(struct owners *owners)
{
	free(owners->items);
	*owners = (struct owners){0};
}

/* Adds the text to the pool unless it was there lately: owners are few, files are many. */
static uint32_t add_text(struct owners *owners, struct catalogue *catalogue, const char *text)
{
	size_t place = 0, room = sizeof(owners->recent) / sizeof(owners->recent[0]);
	uint32_t name;

	while (place < owners->n_recent &&
	       strcmp(catalogue_name(catalogue, owners->recent[place]), text) != 0)
		place++;
	if (place < owners->n_recent) {
		name = owners->recent[place];
	} else {
		name = pool_add_text(catalogue, text);
		if (name == NONE) {
			owners->failed = true;
			return 0;
		}
		if (owners->n_recent < room)
			owners->n_recent++;
		else
			place = room - 1;
	}
	memmove(owners->recent + 1, owners->recent, place * sizeof(owners->recent[0]));
	owners->recent[0] = name;
	return name;
}

uint32_t owners_of_descriptor(
    struct owners *owners, struct catalogue *catalogue, const uint8_t *bytes, size_t length)
{
	size_t offset;
	struct sid_text sid;

	if (length < DESCRIPTOR_HEADER || bytes[0] != 1)
		return 0;
	offset = get_u32(bytes + 4);
	if (offset < DESCRIPTOR_HEADER || offset > length)
		return 0; /* 0: it has no owner */
	sid = sid_to_text(bytes + offset, length - offset);
	return sid.text[0] == '\0' ? 0 : add_text(owners, catalogue, sid.text);
}

/* As the file system computes it for its index of descriptors. */
static uint32_t hash(const uint8_t *bytes, size_t length)
{
	uint32_t sum = 0;

	for (size_t i = 0; i + 4 <= length; i += 4)
		sum = (sum << 3 | sum >> 29) + get_u32(bytes + i);
	return sum;
}

/*
 * The length of the entry at `at`, which says of itself that it stands at `place`; 0 when it is
 * none that can be trusted.
 */
static size_t entry_length(const uint8_t *bytes, size_t length, size_t at, size_t place)
{
	size_t size;

	if (at > length || length - at < ENTRY_HEADER || get_u64(bytes + at + 8) != place)
		return 0;
	size = get_u32(bytes + at + 0x10);
	if (size <= ENTRY_HEADER || size > length - at || size > BLOCK - at % BLOCK ||
	    hash(bytes + at + ENTRY_HEADER, size - ENTRY_HEADER) != get_u32(bytes + at))
		return 0;
	return size;
}

/*
 * The sound copy of the entry that belongs at `place`, and its length; 0 when there is none. No
 * hash covers the id: where the copies differ in that, nobody knows whose the descriptor is.
 */
static size_t find_entry(const uint8_t *bytes, size_t length, size_t place, const uint8_t **entry)
{
	size_t first = entry_length(bytes, length, place, place);
	size_t second = entry_length(bytes, length, place + BLOCK, place);

	if (first == 0 && second == 0)
		return 0;
	*entry = bytes + (first > 0 ? place : place + BLOCK);
	if (first > 0 && second > 0 && get_u32(*entry + 4) != get_u32(*entry + BLOCK + 4))
		return 0;
	return first > 0 ? first : second;
}

static void add_entry(
    struct owners *owners, struct catalogue *catalogue, const uint8_t *entry, size_t size)
{
	struct owner owner = {.id = get_u32(entry + 4)};

	owner.sid =
	    owners_of_descriptor(owners, catalogue, entry + ENTRY_HEADER, size - ENTRY_HEADER);
	if (!array_reserve(&owners->items, &owners->capacity, owners->count + 1, sizeof(owner)))
		owners->failed = true;
	else
		owners->items[owners->count++] = owner;
}

static int compare(const void *a, const void *b)
{
	const struct owner *x = a, *y = b;

	return (x->id > y->id) - (x->id < y->id);
}

void owners_parse(
    struct owners *owners, struct catalogue *catalogue, const uint8_t *bytes, size_t length)
{
	for (size_t block = 0; block < length; block += 2 * BLOCK) {
		for (size_t at = block; at < block + BLOCK && !owners->failed;) {
			const uint8_t *entry;
			size_t size = find_entry(bytes, length, at, &entry);

			if (size > 0)
				add_entry(owners, catalogue, entry, size);
			else
				size = ALIGNMENT; /* look for the next one that is sound */
			at += (size + ALIGNMENT - 1) / ALIGNMENT * ALIGNMENT;
		}
	}
	/* No id is given twice. */
	if (owners->count > 1)
		qsort(owners->items, owners->count, sizeof(*owners->items), compare);
}

void owners_read(struct owners *owners, struct catalogue *catalogue)
{
	struct buf bytes = {0};

	/* What is false about it does not matter: every entry proves itself. */
	attribute_load(catalogue->volume, SECURE, ATTR_DATA, "$SDS", MAX_DESCRIPTORS, &bytes);
	owners_parse(owners, catalogue, bytes.data, bytes.length);
	buf_free(&bytes);
}

uint32_t owners_find(const struct owners *owners, uint32_t id)
{
	size_t low = 0, high = owners->count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (owners->items[middle].id < id)
			low = middle + 1;
		else
			high = middle;
	}
	return low < owners->count && owners->items[low].id == id ? owners->items[low].sid : 0;
}
