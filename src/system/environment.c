/* Environment variables of the old system: expanding %USERPROFILE% and the like in its paths. */
#include "system/inner.h"

#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

#define DEPTH_LIMIT 8      /* variables inside variables */
#define LENGTH_LIMIT 32768 /* bytes: beyond what any path of the old system can have */
#define STEP_LIMIT 4096    /* variables in one text: many that stand for nothing add no length */
#define VARIABLE_LIMIT 4096

void environment_free(struct environment *environment)
{
	free(environment->items);
	*environment = (struct environment){0};
}

static struct variable *find(const struct environment *environment, const char *name)
{
	for (size_t i = 0; i < environment->count; i++)
		if (utf_equal_fold(environment->items[i].name, name))
			return &environment->items[i];
	return NULL;
}

bool environment_set(
    struct environment *environment, struct arena *arena, const char *name, const char *value)
{
	struct variable *variable = find(environment, name);
	char *copy = arena_strdup(arena, value);

	if (!copy)
		return false;
	if (variable) {
		variable->value = copy;
		return true;
	}
	if (environment->count >= VARIABLE_LIMIT)
		return true;
	if (!array_reserve(&environment->items, &environment->capacity, environment->count + 1,
		sizeof(*environment->items)))
		return false;
	variable = &environment->items[environment->count];
	variable->name = arena_strdup(arena, name);
	variable->value = copy;
	if (!variable->name)
		return false;
	environment->count++;
	return true;
}

const char *environment_get(const struct environment *environment, const char *name)
{
	const struct variable *variable = find(environment, name);

	return variable ? variable->value : NULL;
}

bool environment_copy(struct environment *to, const struct environment *from)
{
	*to = (struct environment){0};
	if (!array_reserve(&to->items, &to->capacity, from->count + 1, sizeof(*to->items)))
		return false;
	for (size_t i = 0; i < from->count; i++)
		to->items[i] = from->items[i];
	to->count = from->count;
	return true;
}

struct expansion {
	const struct environment *environment;
	struct arena *arena;
	struct buf out;
	const char *unknown;
	unsigned steps; /* variables looked up so far */
};

/* Recursion is limited by `depth`, the whole text by LENGTH_LIMIT, the work by STEP_LIMIT. */
static void expand(struct expansion *expansion, const char *text, unsigned depth)
{
	while (*text && expansion->out.length < LENGTH_LIMIT && expansion->steps < STEP_LIMIT) {
		const char *end = *text == '%' ? strchr(text + 1, '%') : NULL;
		const char *value = NULL;

		if (end && end > text + 1) {
			char *name =
			    arena_text(expansion->arena, text + 1, (size_t)(end - text - 1));

			if (!name) {
				expansion->out.failed = true;
				return;
			}
			expansion->steps++;
			value = environment_get(expansion->environment, name);
			if ((!value || depth == 0) && !expansion->unknown)
				expansion->unknown = name;
		}
		if (value && depth > 0) {
			expand(expansion, value, depth - 1);
			text = end + 1;
		} else if (end) {
			buf_add(&expansion->out, text, (size_t)(end - text + 1));
			text = end + 1;
		} else {
			size_t plain = 1 + strcspn(text + 1, "%");

			buf_add(&expansion->out, text, plain);
			text += plain;
		}
	}
}

char *environment_expand(const struct environment *environment, const char *text,
    struct arena *arena, const char **unknown)
{
	struct expansion expansion = {.environment = environment, .arena = arena};
	char *result = NULL;

	expand(&expansion, text, DEPTH_LIMIT);
	if (!expansion.out.failed)
		result = arena_strdup(arena, buf_text(&expansion.out));
	if (unknown)
		*unknown = expansion.unknown;
	buf_free(&expansion.out);
	return result;
}

bool environment_add_key(struct environment *environment, const struct hive *hive, hive_cell key,
    const char *path, struct arena *arena)
{
	hive_cell cell = hive_find(hive, key, path);
	struct arena list = {0}, one = {0}; /* what is looked at does not stay */
	hive_cell *values;
	size_t n_values;
	bool fine = true;

	if (cell == HIVE_NO_CELL)
		return true;
	n_values = hive_values(hive, cell, &list, &values);
	for (size_t i = 0; i < n_values && i < VARIABLE_LIMIT && fine; i++) {
		char *name = hive_value_name(hive, values[i], &one);
		char *value = NULL;

		if (name && *name && strlen(name) <= TEXT_LIMIT)
			value = hive_text(hive, cell, "", name, &one, NULL);
		if (value && strlen(value) <= TEXT_LIMIT)
			fine = environment_set(environment, arena, name, value);
		arena_free(&one);
	}
	arena_free(&list);
	return fine;
}
