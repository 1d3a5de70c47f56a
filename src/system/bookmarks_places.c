/*
 * Bookmarks of the Mozilla family: an SQLite database with the tables moz_bookmarks and moz_places.
 *
 * moz_bookmarks: id, type (1 link, 2 folder, 3 separator), fk (id in moz_places, where "url" is),
 * parent, position, title, dateAdded and lastModified (microseconds since 1970). Its top folders
 * are known by "guid", in older databases by the table moz_bookmarks_roots. Common practice, no
 * source.
 */
#include "system/bookmarks.h"

#include "base/buf.h"
#include "base/filetime.h"
#include "base/utf.h"
#include "system/sqlite_log.h"
#include "system/sqlite_memory.h"

#include <stdlib.h>
#include <string.h>

#define TEXT_LIMIT ((size_t)64 << 20) /* bytes: rows can share one large text many times */

enum role { ROLE_NONE, ROLE_ROOT, ROLE_BAR, ROLE_TAGS };

struct row {
	int64_t id, parent, position, place;
	int64_t added, modified; /* FILETIME */
	const char *title;
	uint8_t kind; /* enum bookmark_kind */
	uint8_t role; /* enum role */
	bool is_done;
};

struct places {
	struct sqlite_memory memory;
	struct bookmarks *bookmarks;
	struct arena arena;
	struct row *rows; /* by id, later by parent and position */
	size_t n_rows, capacity;
	sqlite3_stmt *address_of;
	size_t text_read; /* bytes */
};

/* --- rows --- */

/* Microseconds since 1970. */
static int64_t time_of(sqlite3_stmt *statement, int column)
{
	int64_t time = sqlite3_column_int64(statement, column);

	if (time <= 0 || time > INT64_MAX / 10 - FILETIME_UNIX_EPOCH)
		return 0;
	return time * 10 + FILETIME_UNIX_EPOCH;
}

/* Text of a column as it stands there, "" when there is none or too much was read already. */
static const char *raw_text(struct places *places, sqlite3_stmt *statement, int column)
{
	const char *text = NULL;

	if (places->text_read > TEXT_LIMIT)
		places->bookmarks->is_partial = true;
	else
		text = (const char *)sqlite3_column_text(statement, column);
	if (!text)
		return "";
	places->text_read += (size_t)sqlite3_column_bytes(statement, column);
	return text;
}

/* Text of a column as inner text, NULL when memory runs out. */
static const char *text_of(struct places *places, sqlite3_stmt *statement, int column)
{
	const char *text = raw_text(places, statement, column);
	struct buf clean = {0};
	const char *kept;

	/* A database can hold any bytes. */
	utf_clean(&clean, text, strlen(text));
	kept = clean.failed ? NULL : arena_strdup(&places->arena, buf_text(&clean));
	buf_free(&clean);
	if (!kept)
		places->bookmarks->no_memory = true;
	return kept;
}

static uint8_t role_of_guid(const char *guid)
{
	if (strcmp(guid, "root________") == 0)
		return ROLE_ROOT;
	if (strcmp(guid, "toolbar_____") == 0)
		return ROLE_BAR;
	return strcmp(guid, "tags________") == 0 ? ROLE_TAGS : ROLE_NONE;
}

static bool add_row(struct places *places, sqlite3_stmt *statement)
{
	static const uint8_t kinds[] = {0, BOOKMARK_LINK, BOOKMARK_FOLDER, BOOKMARK_LINE};
	int64_t type = sqlite3_column_int64(statement, 1);
	struct row row = {
	    .id = sqlite3_column_int64(statement, 0),
	    .place = sqlite3_column_int64(statement, 2),
	    .parent = sqlite3_column_int64(statement, 3),
	    .position = sqlite3_column_int64(statement, 4),
	    .added = time_of(statement, 6),
	    .modified = time_of(statement, 7),
	};

	if (type < 1 || type > 3)
		return true;
	row.kind = kinds[type];
	row.title = text_of(places, statement, 5);
	if (sqlite3_column_count(statement) > 8)
		row.role = role_of_guid(raw_text(places, statement, 8));
	if (places->n_rows >= BOOKMARK_LIMIT) {
		places->bookmarks->is_partial = true;
		return false;
	}
	if (!row.title || !array_reserve(&places->rows, &places->capacity, places->n_rows + 1,
			      sizeof(*places->rows))) {
		places->bookmarks->no_memory = true;
		return false;
	}
	places->rows[places->n_rows++] = row;
	return true;
}

/* All rows that one order reaches; false when damage ended it. */
static bool read_rows(struct places *places, const char *order)
{
	static const char columns[] =
	    "SELECT id, type, fk, parent, position, title, dateAdded, lastModified%s "
	    "FROM moz_bookmarks ORDER BY id %s";
	char question[200];
	sqlite3_stmt *statement;
	int result = SQLITE_ERROR;

	sqlite3_snprintf(sizeof(question), question, columns, ", guid", order);
	statement = sqlite_memory_ask(&places->memory, question);
	if (!statement) {
		sqlite3_snprintf(sizeof(question), question, columns, "", order);
		statement = sqlite_memory_ask(&places->memory, question);
	}
	while (statement && (result = sqlite3_step(statement)) == SQLITE_ROW)
		if (!add_row(places, statement))
			break;
	sqlite3_finalize(statement);
	return result == SQLITE_DONE || result == SQLITE_ROW;
}

static int by_id(const void *a, const void *b)
{
	const struct row *one = a, *other = b;

	return one->id < other->id ? -1 : one->id > other->id;
}

static int by_parent(const void *a, const void *b)
{
	const struct row *one = a, *other = b;

	if (one->parent != other->parent)
		return one->parent < other->parent ? -1 : 1;
	if (one->position != other->position)
		return one->position < other->position ? -1 : 1;
	return by_id(a, b);
}

/* Sorted by id, each once: a damaged table is read from both its ends. */
static void settle(struct places *places)
{
	size_t kept = 0;

	if (places->n_rows > 0)
		qsort(places->rows, places->n_rows, sizeof(*places->rows), by_id);
	for (size_t i = 0; i < places->n_rows; i++)
		if (kept == 0 || places->rows[kept - 1].id != places->rows[i].id)
			places->rows[kept++] = places->rows[i];
	places->n_rows = kept;
}

static struct row *find_row(struct places *places, int64_t id)
{
	struct row wanted = {.id = id};

	return places->n_rows == 0
		   ? NULL
		   : bsearch(&wanted, places->rows, places->n_rows, sizeof(*places->rows), by_id);
}

/* Databases from before there were guids. */
static void read_old_roots(struct places *places)
{
	static const struct {
		const char *name;
		uint8_t role;
	} roots[] = {{"places", ROLE_ROOT}, {"toolbar", ROLE_BAR}, {"tags", ROLE_TAGS}};
	sqlite3_stmt *statement;

	if (!sqlite_memory_has_table(&places->memory, "moz_bookmarks_roots"))
		return;
	statement = sqlite_memory_ask(
	    &places->memory, "SELECT root_name, folder_id FROM moz_bookmarks_roots");
	while (statement && sqlite3_step(statement) == SQLITE_ROW) {
		const char *name = raw_text(places, statement, 0);
		struct row *row = find_row(places, sqlite3_column_int64(statement, 1));

		for (size_t i = 0; row && i < sizeof(roots) / sizeof(roots[0]); i++)
			if (strcmp(name, roots[i].name) == 0)
				row->role = roots[i].role;
	}
	sqlite3_finalize(statement);
}

/* --- from rows to a tree --- */

static bool is_own_query(const char *address)
{
	return strncmp(address, "place:", 6) == 0;
}

static void emit_link(struct places *places, struct bookmark *bookmark, int64_t place)
{
	const char *address = "";

	if (places->address_of && sqlite3_bind_int64(places->address_of, 1, place) == SQLITE_OK &&
	    sqlite3_step(places->address_of) == SQLITE_ROW)
		address = text_of(places, places->address_of, 0);
	bookmark->address = address ? address : "";
	if (!*bookmark->address || is_own_query(bookmark->address))
		places->bookmarks->left_out++;
	else
		bookmarks_add(places->bookmarks, bookmark);
	if (places->address_of)
		sqlite3_reset(places->address_of);
}

static void emit(struct places *places, struct row *row, size_t depth)
{
	struct bookmark bookmark = {
	    .kind = row->kind,
	    .is_bar = row->role == ROLE_BAR,
	    .depth = (uint16_t)(depth > BOOKMARK_DEPTH ? BOOKMARK_DEPTH : depth),
	    .title = row->title,
	    .added = row->added,
	    .modified = row->modified,
	};

	if (row->kind == BOOKMARK_LINK)
		emit_link(places, &bookmark, row->place);
	else
		bookmarks_add(places->bookmarks, &bookmark);
}

/* Index of the first row with this parent or a later one; rows are sorted by parent. */
static size_t first_child(const struct places *places, int64_t parent)
{
	size_t low = 0, high = places->n_rows;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (places->rows[middle].parent < parent)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

/* A folder that is being gone through. */
struct level {
	int64_t parent;
	size_t next;
	bool is_hidden; /* the root and the tags are no folders for people */
};

struct levels {
	struct level *items;
	size_t count, capacity;
	size_t hidden;
};

static bool enter(struct places *places, struct levels *levels, const struct row *row)
{
	if (!array_reserve(
		&levels->items, &levels->capacity, levels->count + 1, sizeof(*levels->items))) {
		places->bookmarks->no_memory = true;
		return false;
	}
	levels->items[levels->count++] = (struct level){.parent = row->id,
	    .next = first_child(places, row->id),
	    .is_hidden = row->role == ROLE_ROOT};
	levels->hidden += row->role == ROLE_ROOT;
	return true;
}

/* One row; what is in a folder comes next. */
static void visit(struct places *places, struct levels *levels, struct row *row)
{
	if (row->is_done)
		return;
	row->is_done = true;
	if (row->role != ROLE_ROOT && row->role != ROLE_TAGS)
		emit(places, row, levels->count - levels->hidden);
	if (row->kind == BOOKMARK_FOLDER && row->role != ROLE_TAGS)
		enter(places, levels, row);
}

static void walk_from(struct places *places, struct levels *levels, struct row *start)
{
	levels->count = levels->hidden = 0;
	visit(places, levels, start);
	while (levels->count > 0 && !places->bookmarks->no_memory) {
		struct level *top = &levels->items[levels->count - 1];

		if (top->next >= places->n_rows || places->rows[top->next].parent != top->parent) {
			levels->hidden -= top->is_hidden;
			levels->count--;
		} else {
			visit(places, levels, &places->rows[top->next++]);
		}
	}
}

/* Tags lead to links that have a folder elsewhere: nothing of them needs to be shown. */
static void mark_tags(struct places *places)
{
	for (size_t i = 0; i < places->n_rows; i++) {
		struct row *tags = &places->rows[i];

		if (tags->role != ROLE_TAGS)
			continue;
		for (size_t t = first_child(places, tags->id);
		     t < places->n_rows && places->rows[t].parent == tags->id; t++) {
			struct row *tag = &places->rows[t];

			tag->is_done = true;
			for (size_t l = first_child(places, tag->id);
			     l < places->n_rows && places->rows[l].parent == tag->id; l++)
				places->rows[l].is_done = true;
		}
		tags->is_done = true;
	}
}

/* From every folder that lies in none; then what damage or malice made unreachable. */
static void make_tree(struct places *places)
{
	struct levels levels = {0};
	bool *has_parent = calloc(places->n_rows + 1, sizeof(*has_parent));

	if (!has_parent) {
		places->bookmarks->no_memory = true;
		return;
	}
	if (places->n_rows > 0)
		qsort(places->rows, places->n_rows, sizeof(*places->rows), by_parent);
	mark_tags(places);
	for (size_t i = 0; i < places->n_rows; i++)
		if (places->rows[i].kind == BOOKMARK_FOLDER)
			for (size_t c = first_child(places, places->rows[i].id);
			     c < places->n_rows && places->rows[c].parent == places->rows[i].id;
			     c++)
				has_parent[c] = true;
	for (size_t i = 0; i < places->n_rows; i++)
		if (!has_parent[i])
			walk_from(places, &levels, &places->rows[i]);
	for (size_t i = 0; i < places->n_rows; i++)
		walk_from(places, &levels, &places->rows[i]);
	free(has_parent);
	free(levels.items);
}

static void read_all(struct places *places)
{
	bool whole = read_rows(places, "ASC");

	if (!whole)
		read_rows(places, "DESC");
	settle(places);
	read_old_roots(places);
	places->address_of =
	    sqlite_memory_ask(&places->memory, "SELECT url FROM moz_places WHERE id = ?1");
	make_tree(places);
	if (!whole)
		places->bookmarks->is_partial = true;
	sqlite3_finalize(places->address_of);
}

/* Lets the log in when it fits. Returns the new length. */
static size_t with_log(
    uint8_t *database, size_t length, size_t room, const uint8_t *data, size_t data_length)
{
	struct sqlite_log log;
	bool fits;

	if (sqlite_log_read(&log, data, data_length) && sqlite_log_room(&log) <= room)
		length = sqlite_log_apply(&log, data, database, length, &fits);
	sqlite_log_forget(database, length);
	return length;
}

enum bookmarks_found bookmarks_from_database(struct bookmarks *bookmarks, uint8_t *database,
    size_t length, size_t room, const uint8_t *log, size_t log_length)
{
	struct places places = {.bookmarks = bookmarks};
	enum bookmarks_found found = BOOKMARKS_NOT;

	length = with_log(database, length, room, log, log_length);
	if (sqlite_memory_open(&places.memory, database, length)) {
		sqlite3_stmt *schema =
		    sqlite_memory_ask(&places.memory, "SELECT name FROM sqlite_master");
		int result = schema ? sqlite3_step(schema) : SQLITE_ERROR;

		sqlite3_finalize(schema);
		if (result != SQLITE_ROW && result != SQLITE_DONE)
			found = BOOKMARKS_BROKEN;
		else if (sqlite_memory_has_table(&places.memory, "moz_bookmarks") &&
			 sqlite_memory_has_table(&places.memory, "moz_places"))
			found = BOOKMARKS_READ;
	}
	if (found == BOOKMARKS_READ)
		read_all(&places);
	sqlite_memory_close(&places.memory);
	arena_free(&places.arena);
	free(places.rows);
	if (found == BOOKMARKS_READ && bookmarks->is_partial && bookmarks->count == 0)
		found = BOOKMARKS_BROKEN;
	return found;
}
