/* The command line of `extract --resume`: see resume.h. */
#include "cmd/resume.h"

#include <string.h>

static bool differs(struct error *error, const char *option)
{
	return error_set(error, STATUS_USAGE,
	    "the job was begun with another %s; leave that out, or begin a new job without --resume",
	    option);
}

static bool is_same_list(const char *const *a, size_t n_a, const char *const *b, size_t n_b)
{
	if (n_a != n_b)
		return false;
	for (size_t i = 0; i < n_a; i++)
		if (strcmp(a[i], b[i]) != 0)
			return false;
	return true;
}

bool resume_agrees(const struct head *head, const struct given *given,
    const struct extract_options *options, const struct plan_options *choices,
    struct error *error)
{
	const struct plan_options *own = &head->choices;

	if (given->format && options->format != head->format)
		return differs(error, "--format");
	if (given->same && options->same != head->same)
		return differs(error, "--same");
	if (given->careful && !head->careful)
		return differs(error, "order of reading (--careful)");
	if (given->part_size && options->part_limit != head->part_limit)
		return differs(error, "--part-size");
	if (choices->n_persons + choices->n_takes + choices->n_leaves == 0)
		return true;
	if (!is_same_list(choices->persons, choices->n_persons, own->persons, own->n_persons))
		return differs(error, "--person");
	if (!is_same_list(choices->takes, choices->n_takes, own->takes, own->n_takes))
		return differs(error, "--take");
	return is_same_list(choices->leaves, choices->n_leaves, own->leaves, own->n_leaves) ||
	    differs(error, "--leave");
}

bool resume_sources(const struct head *head, const struct survey *survey, bool more,
    struct arena *arena, const char *const **paths, bool *same_order, struct error *error)
{
	size_t *order = arena_array(arena, head->n_sources + 1, sizeof(*order));
	const char **list = arena_array(arena, head->n_sources + 1, sizeof(*list));

	if (order == NULL || list == NULL)
		return error_no_memory(error);
	if (!identity_match(survey, head->sources, head->n_sources, more, order, error))
		return false;
	*same_order = survey->n_drives == head->n_sources;
	for (size_t i = 0; i < head->n_sources; i++) {
		*same_order = *same_order && order[i] == i;
		list[i] = arena_strdup(arena, survey->drives[order[i]].about.path);
		if (list[i] == NULL)
			return error_no_memory(error);
	}
	*paths = list;
	return true;
}
