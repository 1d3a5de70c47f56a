/* --take and --leave: patterns on old paths; see struct plan_options. */
#include "plan/inner.h"

#include <string.h>

/* The pattern in full: a name alone counts in any folder, a path without a volume on any volume. */
static char *complete(struct arena *arena, const char *text)
{
	size_t length = strlen(text);
	const char *front = "";

	while (length > 1 && strchr("\\/", text[length - 1]))
		length--;
	if (!strpbrk(text, "\\/") && !(length == 2 && text[1] == ':'))
		front = "**\\";
	else if (*text == '\\' || *text == '/')
		front = "*";
	return arena_printf(arena, "%s%.*s", front, (int)length, text);
}

static bool compile(const char *option, const char *const *texts, size_t count,
    struct pattern **patterns, struct arena *arena, struct error *error)
{
	*patterns = arena_array(arena, count, sizeof(**patterns));
	if (!*patterns)
		return error_no_memory(error);
	for (size_t i = 0; i < count; i++) {
		char *text;

		if (!*texts[i])
			return error_set(
			    error, STATUS_USAGE, "the pattern after %s is empty", option);
		if (strlen(texts[i]) > PATTERN_LIMIT - 8)
			return error_set(error, STATUS_USAGE,
			    "the pattern after %s is longer than %d characters", option,
			    PATTERN_LIMIT - 8);
		text = complete(arena, texts[i]);
		if (!text || !pattern_compile(arena, text, &(*patterns)[i]))
			return error_no_memory(error);
	}
	return true;
}

bool choices_compile(struct choices *choices, const struct plan_options *options,
    struct arena *arena, struct error *error)
{
	choices->n_takes = options->n_takes;
	choices->n_leaves = options->n_leaves;
	return compile("--take", options->takes, options->n_takes, &choices->takes, arena, error) &&
	       compile(
		   "--leave", options->leaves, options->n_leaves, &choices->leaves, arena, error);
}

bool choices_match(const struct pattern *patterns, size_t count, const char *path)
{
	for (size_t i = 0; i < count; i++)
		if (pattern_match(&patterns[i], path))
			return true;
	return false;
}
