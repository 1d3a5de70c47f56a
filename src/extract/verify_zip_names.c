/*
 * The names in a zip file as they stand there, byte for byte.
 *
 * libarchive composes accents in the names that it gives (Unicode form C), so that two files whose
 * names differ only in that would seem to be one. The names are therefore read from the central
 * directory. libarchive gives the entries in the order in which they lie in the file, and so does
 * this.
 *
 * Source: PKWARE APPNOTE 6.3.9: 4.3.12 (central directory), 4.3.14 to 4.3.16 (its end,
 * Zip64), 4.5.3 (the Zip64 extra field).
 */
#include "base/bytes.h"
#include "extract/verify_internal.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define END_SIZE 22
#define END64_SIZE 56
#define LOCATOR_SIZE 20
#define ENTRY_SIZE 46
#define LONGEST_COMMENT 65535
#define LARGE 0xFFFFFFFFu /* the true number is in a Zip64 field */

/* A part that cannot be read is told by the pass over its content. */
bool raw_read(int fd, void *data, size_t length, uint64_t offset)
{
	uint8_t *bytes = data;

	while (length > 0) {
		ssize_t got = pread(fd, bytes, length, (off_t)offset);

		if (got < 0 && errno == EINTR)
			continue;
		if (got <= 0)
			return false;
		bytes += got;
		length -= (size_t)got;
		offset += (uint64_t)got;
	}
	return true;
}

struct directory {
	uint64_t offset, size;
};

/* From the record at the end of the file, or the one of Zip64 that it points to. */
static bool find_directory(int fd, uint64_t file_size, struct directory *directory)
{
	size_t length =
	    file_size < END_SIZE + LONGEST_COMMENT ? (size_t)file_size : END_SIZE + LONGEST_COMMENT;
	uint64_t start = file_size - length;
	uint8_t *tail, end64[END64_SIZE];
	size_t at;
	bool found = false;

	if (length < END_SIZE)
		return false;
	tail = malloc(length);
	if (tail == NULL || !raw_read(fd, tail, length, start)) {
		free(tail);
		return false;
	}
	for (at = length - END_SIZE + 1; at-- > 0 && !found;)
		found = memcmp(tail + at, "PK\5\6", 4) == 0;
	at++;
	if (found) {
		directory->size = get_u32(tail + at + 12);
		directory->offset = get_u32(tail + at + 16);
		if (at >= LOCATOR_SIZE && memcmp(tail + at - LOCATOR_SIZE, "PK\6\7", 4) == 0 &&
		    raw_read(fd, end64, sizeof(end64), get_u64(tail + at - LOCATOR_SIZE + 8)) &&
		    memcmp(end64, "PK\6\6", 4) == 0) {
			directory->size = get_u64(end64 + 40);
			directory->offset = get_u64(end64 + 48);
		}
	}
	free(tail);
	return found && directory->offset <= file_size &&
	       directory->size <= file_size - directory->offset;
}

/* The local header's offset, from the Zip64 extra field when it does not fit. */
static bool local_offset(
    const uint8_t *entry, const uint8_t *extra, size_t length, uint64_t *offset)
{
	size_t skip =
	    (get_u32(entry + 24) == LARGE ? 8 : 0) + (get_u32(entry + 20) == LARGE ? 8 : 0);

	*offset = get_u32(entry + 42);
	if (*offset != LARGE)
		return true;
	while (length >= 4) {
		size_t size = get_u16(extra + 2);

		if (size > length - 4)
			return false;
		if (get_u16(extra) == 1) {
			if (size < skip + 8)
				return false;
			*offset = get_u64(extra + 4 + skip);
			return true;
		}
		extra += 4 + size;
		length -= 4 + size;
	}
	return false;
}

static bool is_ascii(const char *name)
{
	for (; *name != '\0'; name++)
		if ((unsigned char)*name >= 0x80)
			return false;
	return true;
}

/* Keeps one name. ASCII is the same in every form and needs no room. */
static bool keep(struct raw_names *names, const uint8_t *name, size_t length, uint64_t offset,
    struct error *error)
{
	struct raw_name *new;
	char *copy;

	if (!array_reserve(&names->items, &names->capacity, names->count + 1, sizeof(*new)) ||
	    (copy = strndup((const char *)name, length)) == NULL)
		return error_no_memory(error);
	new = &names->items[names->count++];
	*new = (struct raw_name){.offset = offset};
	new->name = is_ascii(copy) ? NULL : arena_strdup(&names->arena, copy);
	if (new->name == NULL && !is_ascii(copy)) {
		free(copy);
		return error_no_memory(error);
	}
	free(copy);
	return true;
}

static int compare_offsets(const void *a, const void *b)
{
	uint64_t one = ((const struct raw_name *)a)->offset;
	uint64_t other = ((const struct raw_name *)b)->offset;

	return one < other ? -1 : one > other;
}

bool zip_names_read(struct raw_names *names, int fd, uint64_t file_size, struct error *error)
{
	uint8_t entry[ENTRY_SIZE], *rest = NULL;
	struct directory directory;
	uint64_t at, end, offset;
	bool good = true;

	*names = (struct raw_names){0};
	if (!find_directory(fd, file_size, &directory))
		return true;
	rest = malloc(2 * 65536);
	if (rest == NULL)
		return error_no_memory(error);
	end = directory.offset + directory.size;
	for (at = directory.offset; good && end - at >= ENTRY_SIZE;) {
		size_t name, extra, comment;

		if (!raw_read(fd, entry, ENTRY_SIZE, at) || memcmp(entry, "PK\1\2", 4) != 0)
			break;
		name = get_u16(entry + 28);
		extra = get_u16(entry + 30);
		comment = get_u16(entry + 32);
		if (end - at - ENTRY_SIZE < name + extra + comment ||
		    !raw_read(fd, rest, name + extra, at + ENTRY_SIZE) ||
		    !local_offset(entry, rest + name, extra, &offset))
			break;
		good = keep(names, rest, name, offset, error);
		at += ENTRY_SIZE + name + extra + comment;
	}
	free(rest);
	names->is_whole = at == end;
	if (names->count > 0)
		qsort(names->items, names->count, sizeof(*names->items), compare_offsets);
	for (size_t i = 1; i < names->count; i++)
		if (names->items[i].offset == names->items[i - 1].offset)
			names->is_whole = false; /* two names for one place: no order to rely on */
	return good;
}

void raw_names_free(struct raw_names *names)
{
	free(names->items);
	arena_free(&names->arena);
	*names = (struct raw_names){0};
}
