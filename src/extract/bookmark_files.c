/* Files that may hold bookmarks: see bookmark_files.h. */
#include "extract/bookmark_files.h"

#include "base/utf.h"
#include "extract/items.h"
#include "system/sqlite_log.h"

#include <string.h>
#include <strings.h>

#define LOG_ENDING "-wal"
#define PATH_LIMIT 1024 /* folders in one path */

/* Asked of every file of every drive, so without a look at letters beyond ASCII. */
static bool has_word(const char *name, const char *word)
{
	size_t length = strlen(word);

	for (; *name; name++)
		if ((*name | 0x20) == word[0] && strncasecmp(name, word, length) == 0)
			return true;
	return false;
}

static bool ends_with(const char *name, const char *ending)
{
	size_t length = strlen(name), more = strlen(ending);

	return length > more && strcasecmp(name + length - more, ending) == 0;
}

static bool is_database_name(const char *name)
{
	return (ends_with(name, ".sqlite") || ends_with(name, ".sqlite3") ||
		   ends_with(name, ".db")) &&
	       (utf_starts_fold(name, "places") || has_word(name, "bookmark"));
}

static const struct place *favourites_of(const struct plan *plan, const struct item *item)
{
	const struct group *group = &plan->groups[item->group];
	const struct person *person;

	if (group->system == SIZE_MAX || group->person == SIZE_MAX)
		return NULL;
	person = &plan->survey->systems[group->system].persons[group->person];
	for (size_t i = 0; i < person->n_places; i++)
		if (strcmp(person->places[i].role, "favorites") == 0)
			return &person->places[i];
	return NULL;
}

uint32_t bookmark_file_favourites(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = item_catalogue(plan, item);
	const struct place *place;
	uint32_t folder = item_entry(plan, item)->parent;

	if (strcmp(plan->groups[item->group].place, "favorites") == 0)
		return item->base;
	place = favourites_of(plan, item);
	if (!place || place->leftover.volume != item->volume || place->leftover.node == NONE)
		return NONE;
	for (unsigned i = 0; i < PATH_LIMIT && folder != item->base; i++) {
		const struct node *node = catalogue_node(catalogue, folder);

		if (folder == place->leftover.node)
			return folder;
		if (!node || node->n_entries == 0 || folder == NODE_ROOT)
			break;
		folder = catalogue->entries[node->first_entry].parent;
	}
	return NONE;
}

enum bookmark_file bookmark_file_kind(const struct plan *plan, const struct item *item)
{
	const char *name;
	uint64_t size;

	if (item->kind != ITEM_FILE ||
	    (item->state != STATE_TAKEN && item->state != STATE_UNREADABLE) ||
	    item->stream == NONE || *item_stream_name(plan, item) || item->group == NONE)
		return BOOKMARK_FILE_NO;
	name = item_name(plan, item);
	size = item_size(plan, item);
	if (is_database_name(name))
		return size > 0 ? BOOKMARK_FILE_DATABASE : BOOKMARK_FILE_NO;
	if (ends_with(name, ".url"))
		return size <= URL_FILE_LIMIT && bookmark_file_favourites(plan, item) != NONE
			   ? BOOKMARK_FILE_URL
			   : BOOKMARK_FILE_NO;
	if (!has_word(name, "bookmark") || size < 2 || size > BOOKMARKS_JSON_LIMIT)
		return BOOKMARK_FILE_NO;
	if (ends_with(name, ".bak"))
		return BOOKMARK_FILE_JSON_COPY;
	/* "bookmarks-2023-11-04_45_....jsonlz4" */
	if (ends_with(name, ".jsonlz4"))
		return BOOKMARK_FILE_BACKUP;
	return !strchr(name, '.') || ends_with(name, ".json") ? BOOKMARK_FILE_JSON
							      : BOOKMARK_FILE_NO;
}

bool bookmark_file_is_read(const struct plan *plan, const struct item *item)
{
	/* Logs are few and small: whose one is does not matter. */
	return bookmark_file_kind(plan, item) != BOOKMARK_FILE_NO ||
	    (item->kind == ITEM_FILE && ends_with(item_name(plan, item), LOG_ENDING));
}

/* Can its bytes be had at all? */
static bool is_readable(const struct plan *plan, const struct item *item)
{
	return data_content(item_catalogue(plan, item), item_stream(plan, item)) ==
	       CONTENT_READABLE;
}

/* The first `length` bytes of a stream; holes are zeros. False when memory runs out. */
static bool read_bytes(const struct catalogue *catalogue, const struct stream *stream,
    uint8_t *into, size_t length, bool *has_holes)
{
	struct data_reader *reader = data_open(catalogue, stream);
	struct holes holes = {0};
	size_t done = 0, got = 0;

	if (!reader)
		return false;
	while (done < length && (got = data_read(reader, into + done, length - done, &holes)) > 0)
		done += got;
	*has_holes = *has_holes || holes.count > 0 || done < length;
	holes_free(&holes);
	data_close(reader);
	return true;
}

/* The write-ahead log beside a database, when there is one that counts. */
static const struct stream *find_log(
    const struct plan *plan, const struct item *item, struct arena *arena)
{
	const struct catalogue *catalogue = item_catalogue(plan, item);
	char *name = arena_printf(arena, "%s" LOG_ENDING, item_name(plan, item));
	uint32_t entry =
	    name ? catalogue_child(catalogue, item_entry(plan, item)->parent, name) : NONE;
	const struct stream *stream =
	    entry == NONE ? NULL : catalogue_stream(catalogue, catalogue->entries[entry].node, "");

	return stream && stream->size > 0 && stream->size <= BOOKMARKS_DATABASE_LIMIT &&
		       data_content(catalogue, stream) == CONTENT_READABLE
		   ? stream
		   : NULL;
}

static enum bookmarks_found read_database(const struct plan *plan, const struct item *item,
    struct bookmarks *bookmarks, struct arena *arena)
{
	const struct catalogue *catalogue = item_catalogue(plan, item);
	const struct stream *stream = item_stream(plan, item), *log = find_log(plan, item, arena);
	size_t length = (size_t)stream->size, log_length = log ? (size_t)log->size : 0;
	size_t room = length;
	uint8_t *data, *log_data = NULL;
	struct sqlite_log head;

	if (stream->size > BOOKMARKS_DATABASE_LIMIT - log_length)
		return BOOKMARKS_BROKEN;
	if (log) {
		log_data = arena_alloc(arena, log_length);
		if (!log_data ||
		    !read_bytes(catalogue, log, log_data, log_length, &bookmarks->is_partial))
			bookmarks->no_memory = true;
		else if (sqlite_log_read(&head, log_data, log_length) &&
			 sqlite_log_room(&head) <= BOOKMARKS_DATABASE_LIMIT &&
			 sqlite_log_room(&head) > room)
			room = (size_t)sqlite_log_room(&head);
	}
	data = arena_alloc(arena, room);
	if (!data || bookmarks->no_memory ||
	    !read_bytes(catalogue, stream, data, length, &bookmarks->is_partial)) {
		bookmarks->no_memory = true;
		return BOOKMARKS_BROKEN;
	}
	return bookmarks_from_database(bookmarks, data, length, room, log_data, log_length);
}

static enum bookmarks_found read_json(const struct plan *plan, const struct item *item,
    struct bookmarks *bookmarks, struct arena *arena)
{
	size_t length = (size_t)item_size(plan, item);
	uint8_t *data = arena_alloc(arena, length);

	if (!data || !read_bytes(item_catalogue(plan, item), item_stream(plan, item), data, length,
			 &bookmarks->is_partial)) {
		bookmarks->no_memory = true;
		return BOOKMARKS_BROKEN;
	}
	return bookmarks_from_json(bookmarks, data, length);
}

enum bookmarks_found bookmark_file_read(
    const struct plan *plan, const struct item *item, struct bookmarks *bookmarks)
{
	struct arena arena = {0};
	enum bookmarks_found found = BOOKMARKS_BROKEN;

	if (!is_readable(plan, item))
		bookmarks->is_partial = true;
	else if (bookmark_file_kind(plan, item) == BOOKMARK_FILE_DATABASE)
		found = read_database(plan, item, bookmarks, &arena);
	else
		found = read_json(plan, item, bookmarks, &arena);
	/* A name that fits, and bytes that are missing: nobody knows what it was. */
	if (bookmarks->is_partial && (found == BOOKMARKS_NOT || bookmarks->n_links == 0))
		found = BOOKMARKS_BROKEN;
	arena_free(&arena);
	bookmarks_prune(bookmarks);
	return found;
}

char *bookmark_file_address(const struct plan *plan, const struct item *item, struct arena *arena,
    bool *is_partial)
{
	size_t length = (size_t)item_size(plan, item);
	bool readable = is_readable(plan, item), has_holes = !readable;
	uint8_t *data = readable ? arena_alloc(arena, length) : NULL;
	char *address = NULL;

	if (data && read_bytes(item_catalogue(plan, item), item_stream(plan, item), data, length,
			&has_holes))
		address = bookmark_from_url_file(data, length, arena);
	*is_partial = *is_partial || (has_holes && !address);
	return address;
}

/* Folders that every program has, and that tell nothing. */
static bool says_nothing(const char *name, size_t length)
{
	static const char *const names[] = {"Users", "Documents and Settings", "AppData", "Local",
	    "LocalLow", "Roaming", "Application Data", "Local Settings", "User Data", "Profiles",
	    "Data", "Profile", "Packages", "LocalCache", ""};

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (strlen(names[i]) == length && utf_starts_fold(name, names[i]))
			return true;
	return false;
}

/* Where the last name of the path's first `length` bytes begins. */
static size_t last_name(const char *path, size_t length)
{
	while (length > 0 && path[length - 1] != '\\')
		length--;
	return length;
}

void bookmark_file_profile(const char *old_path, struct buf *out)
{
	size_t starts[2], ends[2], count = 0;
	size_t end = last_name(old_path, strlen(old_path));

	/* The last two folders that tell something. */
	while (end > 0 && count < 2) {
		size_t start;

		end--; /* the backslash */
		start = last_name(old_path, end);
		if (!says_nothing(old_path + start, end - start)) {
			starts[count] = start;
			ends[count++] = end;
		}
		end = start;
	}
	for (size_t i = count; i-- > 0;) {
		buf_add(out, old_path + starts[i], ends[i] - starts[i]);
		if (i > 0)
			buf_add_byte(out, '-');
	}
}
