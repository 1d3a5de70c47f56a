/* Phone books: see phone_book.h. */
#include "system/phone_book.h"

#include "base/buf.h"
#include "system/library_file.h"

#include <string.h>

static const char *kind_of(const char *type, size_t length)
{
	static const char *const kinds[] = {"", "dial-up", "tunnel", "", "", "broadband"};
	size_t number = length == 1 && *type >= '0' && *type <= '5' ? (size_t)(*type - '0') : 0;

	return kinds[number];
}

/* The value of a line that begins with `name`, and its length; NULL: another line. */
static const char *value_of(const char *line, size_t length, const char *name, size_t *value_length)
{
	size_t n = strlen(name);

	if (length < n || strncmp(line, name, n) != 0)
		return NULL;
	*value_length = length - n;
	return line + n;
}

static void read_line(
    const char *line, size_t length, struct arena *arena, struct phone_book_entry *entry)
{
	size_t n;
	const char *value = value_of(line, length, "PhoneNumber=", &n);

	/* The first number counts; further ones are tried when it does not answer. */
	if (value && n > 0 && *entry->address == 0) {
		const char *address = arena_text(arena, value, n);

		entry->address = address ? address : "";
	}
	value = value_of(line, length, "Type=", &n);
	if (value && *entry->kind == 0)
		entry->kind = kind_of(value, n);
}

size_t phone_book_read(const uint8_t *data, size_t length, struct arena *arena,
    struct phone_book_entry entries[PHONE_BOOK_ENTRIES])
{
	struct buf text = {0};
	const char *at = length <= PHONE_BOOK_LIMIT ? file_text(data, length, &text) : "";
	size_t count = 0;

	while (*at) {
		size_t line = strcspn(at, "\r\n");

		if (line > 2 && *at == '[' && at[line - 1] == ']') {
			const char *name =
			    count < PHONE_BOOK_ENTRIES ? arena_text(arena, at + 1, line - 2) : NULL;

			if (!name)
				break;
			entries[count++] = (struct phone_book_entry){name, "", ""};
		} else if (count > 0) {
			read_line(at, line, arena, &entries[count - 1]);
		}
		at += line;
		at += strspn(at, "\r\n");
	}
	buf_free(&text);
	return count;
}
