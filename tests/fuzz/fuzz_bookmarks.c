/*
 * Fuzzes the readers of bookmarks and the HTML that is made of them; and files that note where
 * folders are.
 *
 * First byte: which reader. For databases the next two bytes say where the write-ahead log begins;
 * its checksums are made right, so that its frames count.
 */
#include "base/bytes.h"
#include "base/utf.h"
#include "extract/bookmark_files.h"
#include "extract/bookmarks_html.h"
#include "system/bookmarks.h"
#include "system/library_file.h"
#include "system/sqlite_log.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void put_be32(uint8_t *at, uint32_t value)
{
	for (unsigned i = 0; i < 4; i++)
		at[i] = (uint8_t)(value >> (24 - 8 * i));
}

static void add_to_sum(uint32_t sum[2], const uint8_t *data, size_t length)
{
	for (size_t i = 0; i + 8 <= length; i += 8) {
		sum[0] += get_u32(data + i) + sum[1];
		sum[1] += get_u32(data + i + 4) + sum[0];
	}
}

static void put_sum(uint8_t *at, const uint32_t sum[2])
{
	put_be32(at, sum[0]);
	put_be32(at + 4, sum[1]);
}

/* "Database File Format", 4.1 and 4.2. */
static void make_right(uint8_t *log, size_t length)
{
	uint32_t sum[2] = {0, 0}, page;

	if (length < 32)
		return;
	put_be32(log, 0x377f0682);
	put_be32(log + 4, 3007000);
	page = 512u << (log[8] % 3);
	put_be32(log + 8, page);
	add_to_sum(sum, log, 24);
	put_sum(log + 24, sum);
	for (size_t at = 32; length - at >= 24 + page; at += 24 + page) {
		memcpy(log + at + 8, log + 16, 8);
		add_to_sum(sum, log + at, 8);
		add_to_sum(sum, log + at + 24, page);
		put_sum(log + at + 16, sum);
	}
}

static enum bookmarks_found read_database(
    struct bookmarks *bookmarks, const uint8_t *data, size_t size)
{
	size_t split = size < 2 ? 0 : get_u16(data);
	size_t length, room, log_length;
	uint8_t *database, *log;
	struct sqlite_log head;
	enum bookmarks_found found;

	data += size < 2 ? 0 : 2;
	size -= size < 2 ? 0 : 2;
	room = length = split < size ? split : size;
	log_length = size - length;
	log = malloc(log_length + 1);
	memcpy(log, data + length, log_length);
	make_right(log, log_length);
	if (sqlite_log_read(&head, log, log_length) && sqlite_log_room(&head) > room &&
	    sqlite_log_room(&head) < 1 << 20)
		room = (size_t)sqlite_log_room(&head);
	database = malloc(room + 1);
	memcpy(database, data, length);
	found = bookmarks_from_database(bookmarks, database, length, room, log, log_length);
	free(log);
	free(database);
	return found;
}

static void check(const struct bookmarks *bookmarks)
{
	struct buf html = {0};

	for (size_t i = 0; i < bookmarks->count; i++) {
		const struct bookmark *item = &bookmarks->items[i];

		if (item->depth > BOOKMARK_DEPTH || !utf_is_clean(item->title) ||
		    !utf_is_clean(item->address))
			abort();
	}
	bookmarks_to_html(bookmarks, "Bookmarks", &html);
	buf_free(&html);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct bookmarks bookmarks = {0};

	if (size == 0)
		return 0;
	if (data[0] % 4 == 3) {
		const char *folders[LIBRARY_FOLDERS];

		library_file_folders(data + 1, size - 1, &bookmarks.arena, folders);
		preferences_folders(data + 1, size - 1, &bookmarks.arena, folders);
		preferences_addresses(data + 1, size - 1, data[0] & 0x80, &bookmarks.arena, folders);
		profile_list_folders(data + 1, size - 1, &bookmarks.arena, folders);
	} else if (data[0] % 4 == 0) {
		bookmarks_from_json(&bookmarks, data + 1, size - 1);
	} else if (data[0] % 4 == 1) {
		read_database(&bookmarks, data + 1, size - 1);
	} else {
		struct buf profile = {0};
		char *address = bookmark_from_url_file(data + 1, size - 1, &bookmarks.arena);

		if (address && !utf_is_clean(address))
			abort();
		if (address)
			bookmark_file_profile(address, &profile);
		buf_free(&profile);
	}
	bookmarks_prune(&bookmarks);
	check(&bookmarks);
	bookmarks_free(&bookmarks);
	return 0;
}
