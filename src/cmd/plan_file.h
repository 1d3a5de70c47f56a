/*
 * Choices for an extraction, from the command line and from a plan file.
 *
 * A plan file is text in UTF-8, one choice per line: `take PATTERN`, `leave PATTERN`, `person
 * NAME`; empty lines and lines that start with # are skipped.
 */
#ifndef CMD_PLAN_FILE_H
#define CMD_PLAN_FILE_H

#include "base/arena.h"
#include "base/error.h"
#include "plan/plan.h"

#include <stdbool.h>
#include <stddef.h>

struct text_list {
	const char **items;
	size_t count, capacity;
};

struct choices {
	struct arena arena;
	struct text_list persons, takes, leaves;
};

/* `text` is copied. False when memory runs out. */
bool choices_add(struct choices *choices, struct text_list *list, const char *text);

/* Adds the choices of a plan file. False with *error (STATUS_USAGE). */
bool choices_read_file(struct choices *choices, const char *path, struct error *error);

struct plan_options choices_to_options(const struct choices *choices);
void choices_free(struct choices *choices);

#endif
