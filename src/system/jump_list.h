/*
 * Jump lists: what a person last opened with one program, and what was pinned to it.
 *
 * Two forms: "automatic" (a compound file with a shell link per entry and the stream DestList) and
 * "custom" (shell links one behind the other, in categories that the program made). The file's name
 * begins with a checksum of the program's path or identity.
 *
 * Source: dtformats, "Jump lists format".
 */
#ifndef SYSTEM_JUMP_LIST_H
#define SYSTEM_JUMP_LIST_H

#include "system/shell_link.h"

#define JUMP_LIST_LIMIT ((size_t)8 << 20) /* bytes of a file */

struct jump_entry {
	const char *path; /* as the list has it; the link's target in a custom list; never NULL */
	int64_t last;     /* FILETIME of the last use, 0: not known */
	bool is_pinned;
	bool has_link;
	struct shell_link link;
};

struct jump_list {
	unsigned version;
	struct jump_entry *entries;
	size_t n_entries;
};

/* False when the file is of no such form, or memory runs out. Broken entries are left out. */
bool jump_list_read_automatic(
    const uint8_t *data, size_t length, struct arena *arena, struct jump_list *list);
bool jump_list_read_custom(
    const uint8_t *data, size_t length, struct arena *arena, struct jump_list *list);

/*
 * The number that the file's name begins with, for a program's path or identity: CRC-64 with the
 * polynomial 0x92c64265d32139a4 over the upper-case text in UTF-16. Folders that are known by role
 * stand as "{GUID}" in it.
 */
uint64_t jump_list_number(const char *identity);

#endif
