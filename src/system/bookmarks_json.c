/*
 * Bookmarks of the Chromium family: a JSON document whose object "roots" holds folders.
 *
 * A folder has "name" and "children", a link "name" and "url"; "date_added" and "date_modified" are
 * microseconds since 1601 as a decimal text. Common practice, no source.
 */
#include "system/bookmarks.h"

#include "base/buf.h"
#include "base/filetime.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#define WEIGHT_LIMIT ((size_t)4 << 20) /* about 160 MB in memory; 20,000 bookmarks weigh a tenth */

/* A folder whose children are being gone through. */
struct open_folder {
	json_t *children;
	size_t next;
};

struct walk {
	struct bookmarks *bookmarks;
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

/* One folder or link; what is in a folder comes next. */
static void visit(struct walk *walk, json_t *object, bool is_bar)
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
	visit(walk, root, is_bar);
	while (walk->depth > 0 && !walk->bookmarks->no_memory) {
		struct open_folder *top = &walk->stack[walk->depth - 1];

		if (top->next >= json_array_size(top->children))
			walk->depth--;
		else
			visit(walk, json_array_get(top->children, top->next++), false);
	}
	walk->depth = 0;
}

/*
 * Would the document take much more memory than any real one? A container takes six times what a plain value does, and
 * both take much more than their one or two bytes of text.
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

	json_object_foreach (roots, key, root)
		if (json_is_array(json_object_get(root, "children")))
			return true;
	return false;
}

enum bookmarks_found bookmarks_from_json(
    struct bookmarks *bookmarks, const void *data, size_t length)
{
	static const char mark[] = "\"roots\"";
	struct walk walk = {.bookmarks = bookmarks};
	json_error_t error;
	json_t *document, *roots, *root;
	const char *key;

	if (length > BOOKMARKS_JSON_LIMIT || !memmem(data, length, mark, sizeof(mark) - 1))
		return BOOKMARKS_NOT;
	if (is_crowded(data, length))
		return BOOKMARKS_BROKEN;
	document = json_loadb(data, length, JSON_ALLOW_NUL, &error);
	if (!document)
		return BOOKMARKS_BROKEN;
	roots = json_object_get(document, "roots");
	if (!has_folder(roots)) {
		json_decref(document);
		return BOOKMARKS_NOT;
	}
	json_object_foreach (roots, key, root)
		if (json_is_array(json_object_get(root, "children")))
			walk_root(&walk, root, strcmp(key, "bookmark_bar") == 0);
	free(walk.stack);
	json_decref(document);
	return BOOKMARKS_READ;
}
