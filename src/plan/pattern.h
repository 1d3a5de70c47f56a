/*
 * Patterns of names and paths: `?` is one character, `*` any within a name, `**` any over folders.
 *
 * Case does not count, and "/" and "\" are the same. A folder part that is just `**` also stands
 * for no folder at all: "D:\Photos\**\x.jpg" matches "D:\Photos\x.jpg".
 */
#ifndef PLAN_PATTERN_H
#define PLAN_PATTERN_H

#include "base/arena.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PATTERN_LIMIT 1000 /* characters in one pattern */

struct pattern {
	uint32_t *tokens; /* upper-cased code points, or one of pattern.c's own numbers */
	size_t count;
	bool is_plain; /* holds no wildcard */
};

/* Into `arena`. False when memory runs out or the text is longer than PATTERN_LIMIT. */
bool pattern_compile(struct arena *arena, const char *text, struct pattern *pattern);

/* Does the pattern match the whole text? Takes time in proportion to the product of both lengths.
 */
bool pattern_match(const struct pattern *pattern, const char *text);

#endif
