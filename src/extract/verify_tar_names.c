/*
 * The names in a tar file of the pax format as they stand there, byte for byte.
 *
 * libarchive composes accents in names from pax headers: see verify_zip_names.c. Only headers are
 * read here; libarchive gives the entries in the same order.
 *
 * Sources: POSIX.1-2017, pax, "pax Header Block" and "ustar Interchange Format"; GNU tar manual,
 * "Storing Sparse Files" (GNU.sparse.name).
 */
#include "extract/verify_internal.h"

#include <stdlib.h>
#include <string.h>

#define BLOCK 512
#define PAX_LIMIT ((size_t)8 << 20) /* bytes of one pax header */

/* What the pax headers in front of an entry say. */
struct pax {
	const char *path, *link; /* NULL: nothing, or ASCII */
	uint64_t size;
	bool has_size, has_sparse_name;
};

/* A number field of a ustar header: octal digits, or, for large ones, base 256 (GNU). */
static bool header_number(const uint8_t *field, size_t length, uint64_t *number)
{
	*number = 0;
	if ((field[0] & 0x80) != 0) {
		for (size_t i = length - 8; i < length; i++)
			*number = *number << 8 | field[i];
		return *number <= INT64_MAX;
	}
	while (length > 0 && *field == ' ') {
		field++;
		length--;
	}
	for (; length > 0 && *field >= '0' && *field <= '7'; field++, length--)
		*number = *number << 3 | (uint64_t)(*field - '0');
	return *number <= INT64_MAX;
}

/* A decimal number that ends with `end`; it may not be longer than `length` bytes. */
static bool decimal(const char *text, size_t length, char end, uint64_t *number, size_t *used)
{
	*number = 0;
	for (*used = 0; *used < length && *used < 18 && text[*used] >= '0' && text[*used] <= '9';
	     ++*used)
		*number = *number * 10 + (uint64_t)(text[*used] - '0');
	return *used > 0 && *used < length && text[*used] == end;
}

static bool is_key(const char *record, size_t length, const char *key)
{
	size_t key_length = strlen(key);

	return length > key_length && memcmp(record, key, key_length) == 0 &&
	       record[key_length] == '=';
}

/* A value that is not ASCII, copied; *text stays NULL for one that is. False: no memory. */
static bool keep_value(struct arena *arena, const char *value, size_t length, const char **text)
{
	bool ascii = true;

	*text = NULL;
	for (size_t i = 0; i < length; i++)
		ascii = ascii && (unsigned char)value[i] < 0x80;
	if (!ascii)
		*text = arena_text(arena, value, length);
	return ascii || *text != NULL;
}

/* One record, "KEY=VALUE", without its line break. */
static bool take_record(struct arena *arena, struct pax *pax, const char *record, size_t length)
{
	size_t used;

	if (is_key(record, length, "GNU.sparse.name")) {
		pax->has_sparse_name = true;
		return keep_value(arena, record + 16, length - 16, &pax->path);
	}
	if (is_key(record, length, "path") && !pax->has_sparse_name)
		return keep_value(arena, record + 5, length - 5, &pax->path);
	if (is_key(record, length, "linkpath"))
		return keep_value(arena, record + 9, length - 9, &pax->link);
	if (is_key(record, length, "size"))
		/* The line break stands behind the record. */
		pax->has_size = decimal(record + 5, length - 4, '\n', &pax->size, &used);
	return true;
}

/* "LENGTH KEY=VALUE\n", again and again. What is not like that is left to libarchive. */
static bool take_records(struct arena *arena, struct pax *pax, const char *text, size_t length)
{
	while (length > 0) {
		uint64_t whole;
		size_t digits;

		if (!decimal(text, length, ' ', &whole, &digits) || whole > length ||
		    whole < digits + 3 || text[whole - 1] != '\n')
			return true;
		if (!take_record(arena, pax, text + digits + 1, (size_t)whole - digits - 2))
			return false;
		text += whole;
		length -= (size_t)whole;
	}
	return true;
}

static bool read_pax(struct raw_names *names, int fd, uint64_t at, uint64_t size, struct pax *pax,
    struct error *error)
{
	char *text;
	bool good = true;

	if (size > PAX_LIMIT)
		return true;
	text = malloc((size_t)size + 1);
	if (text == NULL)
		return error_no_memory(error);
	if (raw_read(fd, text, (size_t)size, at))
		good =
		    take_records(&names->arena, pax, text, (size_t)size) || error_no_memory(error);
	free(text);
	return good;
}

static bool keep_entry(
    struct raw_names *names, const struct pax *pax, uint64_t at, struct error *error)
{
	if (!array_reserve(
		&names->items, &names->capacity, names->count + 1, sizeof(*names->items)))
		return error_no_memory(error);
	names->items[names->count++] = (struct raw_name){at, pax->path, pax->link};
	return true;
}

bool tar_names_read(struct raw_names *names, int fd, uint64_t file_size, struct error *error)
{
	struct pax pax = {0};
	uint8_t header[BLOCK];
	uint64_t at = 0, size;

	*names = (struct raw_names){0};
	while (file_size - at >= BLOCK && raw_read(fd, header, BLOCK, at)) {
		char kind = (char)header[156];

		if (header[0] == 0) {
			names->is_whole = true;
			return true;
		}
		if (!header_number(header + 124, 12, &size))
			return true;
		at += BLOCK;
		if (kind == 'x') {
			if (!read_pax(names, fd, at, size, &pax, error))
				return false;
		} else if (kind != 'g' && kind != 'L' && kind != 'K') {
			if (!keep_entry(names, &pax, at - BLOCK, error))
				return false;
			if (pax.has_size)
				size = pax.size;
			if (kind >= '1' &&
			    kind <= '6') /* links, devices and folders have no content */
				size = 0;
			pax = (struct pax){0};
		}
		size = (size + BLOCK - 1) / BLOCK * BLOCK;
		if (size > file_size - at)
			return true;
		at += size;
	}
	/* Without its two blocks of zeros at the end. */
	names->is_whole = at == file_size;
	return true;
}
