/*
 * Writes the bookmarks of one file as HTML, for tests that compare them with what other programs
 * read.
 *
 * usage: dump_bookmarks json FILE | database FILE [LOG] | url FILE
 *
 * Exit status: 0 read, 1 read in part, 3 no such file, 4 broken, 2 anything else.
 */
#include "extract/bookmarks_html.h"
#include "system/bookmarks.h"
#include "system/sqlite_log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The bytes of a file with room for `more` behind them; "" is an empty one. */
static uint8_t *load(const char *path, size_t *length)
{
	FILE *file = fopen(path, "rb");
	struct buf bytes = {0};
	uint8_t *room;
	size_t got;

	if (!file)
		return NULL;
	while ((room = buf_reserve(&bytes, 65536)) && (got = fread(room, 1, 65536, file)) > 0)
		buf_added(&bytes, got);
	fclose(file);
	*length = bytes.length;
	return bytes.data;
}

static enum bookmarks_found read_database(
    struct bookmarks *bookmarks, uint8_t **data, size_t length, const char *log_path)
{
	size_t log_length = 0, room = length;
	uint8_t *log = log_path ? load(log_path, &log_length) : NULL;
	struct sqlite_log head;
	enum bookmarks_found found;

	if (log && sqlite_log_read(&head, log, log_length) && sqlite_log_room(&head) > room)
		room = (size_t)sqlite_log_room(&head);
	*data = realloc(*data, room + 1);
	if (!*data)
		exit(2);
	found = bookmarks_from_database(bookmarks, *data, length, room, log, log_length);
	free(log);
	return found;
}

int main(int argc, char **argv)
{
	struct bookmarks bookmarks = {0};
	struct buf html = {0};
	size_t length = 0;
	uint8_t *data = argc >= 3 ? load(argv[2], &length) : NULL;
	enum bookmarks_found found = BOOKMARKS_NOT;
	int status;

	if (!data)
		return 2;
	if (strcmp(argv[1], "json") == 0) {
		found = bookmarks_from_json(&bookmarks, data, length);
	} else if (strcmp(argv[1], "database") == 0) {
		found = read_database(&bookmarks, &data, length, argc > 3 ? argv[3] : NULL);
	} else {
		char *address = bookmark_from_url_file(data, length, &bookmarks.arena);

		puts(address ? address : "");
	}
	bookmarks_to_html(&bookmarks, "Bookmarks from here", &html);
	if (found == BOOKMARKS_READ)
		fputs(buf_text(&html), stdout);
	status = found == BOOKMARKS_BROKEN ? 4 : found == BOOKMARKS_NOT ? 3 : 0;
	if (status == 0 && bookmarks.is_partial)
		status = 1;
	buf_free(&html);
	bookmarks_free(&bookmarks);
	free(data);
	return status;
}
