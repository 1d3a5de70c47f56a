/*
 * Kinds of files, by the ending of the name: which are compressed already, how their content begins
 * and ends.
 *
 * Beginnings and ends are those of each format's own specification (named beside the table); which
 * formats are compressed follows from them.
 */
#ifndef BASE_KINDS_H
#define BASE_KINDS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct magic {
	const char *bytes;
	uint8_t length;
	uint8_t offset;
};

enum { KIND_MAGICS = 4 };

struct kind {
	const char *endings;              /* "jpg jpeg" */
	bool is_compact;                  /* deflating it again gains nothing */
	struct magic begin[KIND_MAGICS];  /* any of them; none: not known */
	struct magic end;                 /* has to stand somewhere behind the beginning */
};

/* By the file's name (inner text or archive path); NULL when nothing is known. */
const struct kind *kind_of_name(const char *name);

/*
 * Does content that starts with these bytes fit the kind? True when the kind states no beginning.
 */
bool kind_begins(const struct kind *kind, const uint8_t *bytes, size_t length);

/*
 * The other way round: the usual ending for content that starts with these bytes, "jpg", as far as
 * its beginning alone tells; NULL when it does not. Of documents that are zip files or compound files: "zip" or "doc" where no more is told.
 */
const char *kind_of_content(const uint8_t *bytes, size_t length);

#endif
