/* Elements of small XML files: see xml_element.h. */
#include "system/xml_element.h"

#include "system/library_file.h"

#include <string.h>

#define DEPTH_LIMIT 64u

/* Where the markup at `at` ("<...") ends; NULL: it does not. */
static const char *end_of_markup(const char *at)
{
	static const char *const kinds[][2] = {{"<!--", "-->"}, {"<![CDATA[", "]]>"}, {"<?", "?>"}};

	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		if (strncmp(at, kinds[i][0], strlen(kinds[i][0])) == 0) {
			const char *end = strstr(at + strlen(kinds[i][0]), kinds[i][1]);

			return end ? end + strlen(kinds[i][1]) : NULL;
		}
	/* A value of an attribute can hold the sign. */
	for (char quote = 0; *at; at++) {
		if (quote ? *at == quote : *at == '"' || *at == '\'')
			quote = quote ? 0 : *at;
		else if (!quote && *at == '>')
			return at + 1;
	}
	return NULL;
}

/* The name in a tag, without its prefix. */
static const char *tag_name(const char *tag, size_t *length)
{
	const char *name = tag + 1 + (tag[1] == '/');
	size_t whole = strcspn(name, " \t\r\n/>");
	const char *colon = memchr(name, ':', whole);

	if (colon) {
		whole -= (size_t)(colon + 1 - name);
		name = colon + 1;
	}
	*length = whole;
	return name;
}

/*
 * The path's part number `depth` (0: first), or NULL; *is_last: no other follows.
 */
static const char *path_part(const char *path, unsigned depth, size_t *length, bool *is_last)
{
	for (unsigned i = 0; i < depth; i++) {
		path = strchr(path, '/');
		if (!path)
			return NULL;
		path++;
	}
	*length = strcspn(path, "/");
	*is_last = path[*length] == 0;
	return path;
}

/* Behind the start tag of the element that the path reaches; NULL: there is none. *empty: it ends
 * there. */
static const char *find_element(const char *xml, const char *path, bool *empty)
{
	unsigned depth = 0, matched = 0; /* elements open; of them, from the root, as in the path */
	const char *at = strchr(xml, '<'), *next;

	for (; at && (next = end_of_markup(at)) != NULL; at = strchr(next, '<')) {
		size_t length, wanted;
		const char *name = tag_name(at, &length), *part;
		bool is_last = false;

		if (at[1] == '!' || at[1] == '?')
			continue;
		if (at[1] == '/') {
			depth -= depth > 0;
			matched = matched > depth ? depth : matched;
			continue;
		}
		*empty = next[-2] == '/';
		part = matched == depth && depth < DEPTH_LIMIT
			   ? path_part(path, depth, &wanted, &is_last)
			   : NULL;
		if (part && wanted == length && strncmp(part, name, length) == 0) {
			if (is_last)
				return next;
			matched += !*empty;
		}
		depth += !*empty;
	}
	return NULL;
}

char *xml_element(const char *xml, const char *path, struct arena *arena)
{
	static const char space[] = " \t\r\n";
	bool empty = false;
	const char *from = find_element(xml, path, &empty);
	size_t length;

	if (!from)
		return NULL;
	if (empty)
		return arena_strdup(arena, "");
	from += strspn(from, space);
	length = strcspn(from, "<");
	while (length > 0 && strchr(space, from[length - 1]))
		length--;
	return xml_text(from, length, arena);
}

bool xml_has(const char *xml, const char *path)
{
	bool empty;

	return find_element(xml, path, &empty) != NULL;
}
