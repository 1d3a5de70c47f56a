/*
 * Bookmarks in JSON.
 *
 * The Chromium family: the object "roots" holds folders. A folder has "name" and "children", a link
 * "name" and "url"; "date_added" and "date_modified" are microseconds since 1601 as a decimal text.
 * Backups of the Mozilla family: one folder, the root, with "typeCode" (1 link, 2 folder, 3
 * separator), "title", "children", "uri"; "dateAdded" and "lastModified" are microseconds since
 * 1970; packed as one LZ4 block. Its "guid" or "root" tells the top folders. All this: common
 * practice, no source; the block: "LZ4 Block Format".
 */
#include "system/bookmarks.h"

#include "base/buf.h"
#include "base/bytes.h"
#include "base/filetime.h"

#include <jansson.h>
#include <lz4.h>
#include <stdlib.h>
#include <string.h>

#define WEIGHT_LIMIT ((size_t)4 << 20) /* about 160 MB in memory; 20,000 bookmarks weigh a tenth   \
					*/

struct walk;

/* A folder whose children are being gone through. */
struct open_folder {
	json_t *children;
	size_t next;
};

typedef void visit_function(struct walk *walk, json_t *object, bool is_bar);

struct walk {
	struct bookmarks *bookmarks;
	visit_function *visit;
	struct open_folder *stack;
	size_t depth, capacity;
};

static const char *text_of(const json_t *object, const char *key)
{
	const char *text = json_string_value(json_object_get(object, key));

	return text ? text : "";
}

static int64_t time_of(const json_t *object, const char *key)
{
	const char *text = text_of(object, key);
	size_t length = strlen(text);
	long long microseconds;

	if (length == 0 || length > 18 || strspn(text, "0123456789") != length)
		return 0;
	microseconds = strtoll(text, NULL, 10);
	return microseconds > INT64_MAX / 10 ? 0 : microseconds * 10;
}

static bool push(struct walk *walk, json_t *children)
{
	if (!array_reserve(&walk->stack, &walk->capacity, walk->depth + 1, sizeof(*walk->stack))) {
		walk->bookmarks->no_memory = true;
		return false;
	}
	walk->stack[walk->depth++] = (struct open_folder){.children = children};
	return true;
}

/* One folder or link of the Chromium family; what is in a folder comes next. */
static void visit_named(struct walk *walk, json_t *object, bool is_bar)
{
	json_t *children = json_object_get(object, "children");
	bool is_folder = json_is_array(children);
	struct bookmark bookmark = {
	    .kind = is_folder ? BOOKMARK_FOLDER : BOOKMARK_LINK,
	    .is_bar = is_bar,
	    .depth = (uint16_t)(walk->depth > BOOKMARK_DEPTH ? BOOKMARK_DEPTH : walk->depth),
	    .title = text_of(object, "name"),
	    .address = text_of(object, "url"),
	    .added = time_of(object, "date_added"),
	    .modified = time_of(object, "date_modified"),
	};

	if (!json_is_object(object))
		return;
	if (!is_folder && !*bookmark.address) {
		walk->bookmarks->left_out++;
		return;
	}
	bookmarks_add(walk->bookmarks, &bookmark);
	if (is_folder)
		push(walk, children);
}

static void walk_root(struct walk *walk, json_t *root, bool is_bar)
{
	walk->visit(walk, root, is_bar);
	while (walk->depth > 0 && !walk->bookmarks->no_memory) {
		struct open_folder *top = &walk->stack[walk->depth - 1];

		if (top->next >= json_array_size(top->children))
			walk->depth--;
		else
			walk->visit(walk, json_array_get(top->children, top->next++), false);
	}
	walk->depth = 0;
}

/*
 * Would the document take much more memory than any real one? A container takes six times what a
 * plain value does, and both take much more than their one or two bytes of text.
 */
static bool is_crowded(const char *text, size_t length)
{
	size_t weight = 0;

	for (size_t i = 0; i < length; i++)
		weight += text[i] == '{' || text[i] == '[' ? 6 : text[i] == ',';
	return weight > WEIGHT_LIMIT;
}

/* Is there anything in it that only bookmarks have? */
static bool has_folder(json_t *roots)
{
	const char *key;
	json_t *root;

	json_object_foreach(
	    roots, key, root) if (json_is_array(json_object_get(root, "children"))) return true;
	return false;
}

static bool walk_roots(struct bookmarks *bookmarks, json_t *document)
{
	struct walk walk = {.bookmarks = bookmarks, .visit = visit_named};
	json_t *roots = json_object_get(document, "roots"), *root;
	const char *key;

	if (!has_folder(roots))
		return false;
	json_object_foreach(roots, key, root) if (json_is_array(json_object_get(root, "children")))
	    walk_root(&walk, root, strcmp(key, "bookmark_bar") == 0);
	free(walk.stack);
	return true;
}

/* --- backups of the Mozilla family --- */

/* Microseconds since 1970. */
static int64_t backup_time(const json_t *object, const char *key)
{
	json_int_t time = json_integer_value(json_object_get(object, key));

	return time <= 0 || time > INT64_MAX / 10 - FILETIME_UNIX_EPOCH
		   ? 0
		   : time * 10 + FILETIME_UNIX_EPOCH;
}

static bool is_top(const json_t *object, const char *guid, const char *root)
{
	return strcmp(text_of(object, "guid"), guid) == 0 ||
	       strcmp(text_of(object, "root"), root) == 0;
}

static void visit_coded(struct walk *walk, json_t *object, bool is_root)
{
	static const uint8_t codes[] = {0, BOOKMARK_LINK, BOOKMARK_FOLDER, BOOKMARK_LINE};
	json_int_t code = json_integer_value(json_object_get(object, "typeCode"));
	size_t depth = walk->depth > 0 ? walk->depth - 1 : 0; /* the root is no folder for people */
	struct bookmark bookmark = {
	    .is_bar = is_top(object, "toolbar_____", "toolbarFolder"),
	    .depth = (uint16_t)(depth > BOOKMARK_DEPTH ? BOOKMARK_DEPTH : depth),
	    .title = text_of(object, "title"),
	    .address = text_of(object, "uri"),
	    .added = backup_time(object, "dateAdded"),
	    .modified = backup_time(object, "lastModified"),
	};

	if (code < 1 || code > 3 || is_top(object, "tags________", "tagsFolder"))
		return;
	bookmark.kind = codes[code];
	if (bookmark.kind == BOOKMARK_LINK &&
	    (!*bookmark.address || strncmp(bookmark.address, "place:", 6) == 0)) {
		walk->bookmarks->left_out++;
		return;
	}
	if (!is_root)
		bookmarks_add(walk->bookmarks, &bookmark);
	if (bookmark.kind == BOOKMARK_FOLDER)
		push(walk, json_object_get(object, "children"));
}

static bool walk_backup(struct bookmarks *bookmarks, json_t *document)
{
	struct walk walk = {.bookmarks = bookmarks, .visit = visit_coded};

	if (json_integer_value(json_object_get(document, "typeCode")) != 2 ||
	    !json_is_array(json_object_get(document, "children")))
		return false;
	walk_root(&walk, document, true);
	free(walk.stack);
	return true;
}

/* --- any of them --- */

#define PACKED "mozLz40" /* with a NUL */

/* The text in a packed backup, to be freed; NULL when it cannot be unpacked. */
static char *unpack(const uint8_t *data, size_t length, size_t *unpacked)
{
	size_t size = length < 12 ? 0 : get_u32(data + 8);
	char *text = size > 0 && size <= BOOKMARKS_JSON_LIMIT ? malloc(size) : NULL;

	*unpacked = size;
	if (text && LZ4_decompress_safe(
			(const char *)data + 12, text, (int)(length - 12), (int)size) == (int)size)
		return text;
	free(text);
	return NULL;
}

static enum bookmarks_found from_text(struct bookmarks *bookmarks, const char *text, size_t length)
{
	static const char roots[] = "\"roots\"", code[] = "\"typeCode\"";
	json_error_t error;
	json_t *document;
	bool found;

	if (!memmem(text, length, roots, sizeof(roots) - 1) &&
	    !memmem(text, length, code, sizeof(code) - 1))
		return BOOKMARKS_NOT;
	if (is_crowded(text, length))
		return BOOKMARKS_BROKEN;
	document = json_loadb(text, length, JSON_ALLOW_NUL, &error);
	if (!document)
		return BOOKMARKS_BROKEN;
	found = walk_roots(bookmarks, document) || walk_backup(bookmarks, document);
	json_decref(document);
	return found ? BOOKMARKS_READ : BOOKMARKS_NOT;
}

enum bookmarks_found bookmarks_from_json(
    struct bookmarks *bookmarks, const void *data, size_t length)
{
	enum bookmarks_found found;
	size_t unpacked;
	char *text;

	if (length > BOOKMARKS_JSON_LIMIT)
		return BOOKMARKS_NOT;
	if (length < sizeof(PACKED) || memcmp(data, PACKED, sizeof(PACKED)) != 0)
		return from_text(bookmarks, data, length);
	text = unpack(data, length, &unpacked);
	found = text ? from_text(bookmarks, text, unpacked) : BOOKMARKS_BROKEN;
	free(text);
	return found;
}
