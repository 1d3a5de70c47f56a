/* Who was asked for with --person: by account, full name, folder name, or key; case does not count.
 */
#include "plan/inner.h"

#include "base/utf.h"

#include <string.h>

static bool is_called(const struct person *person, const char *name)
{
	const char *const names[] = {
	    person->account, person->full_name, person->folder, person->key};

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (names[i] && *names[i] && utf_equal_fold(names[i], name))
			return true;
	return false;
}

/* Sets the flags of everybody called so. Returns how many. */
static size_t ask_for(const struct survey *survey, const char *name, bool *asked)
{
	size_t found = 0, number = 0;

	for (size_t s = 0; s < survey->n_systems; s++) {
		const struct old_system *system = &survey->systems[s];

		for (size_t p = 0; p < system->n_persons; p++, number++) {
			if (system->persons[p].is_service || !is_called(&system->persons[p], name))
				continue;
			asked[number] = true;
			found++;
		}
	}
	return found;
}

/* "mara (Mara Quill), hut": accounts with their full names, else folder names. */
static void list_persons(const struct survey *survey, struct buf *list)
{
	for (size_t s = 0; s < survey->n_systems; s++) {
		const struct old_system *system = &survey->systems[s];

		for (size_t p = 0; p < system->n_persons; p++) {
			const struct person *person = &system->persons[p];

			if (person->is_service)
				continue;
			if (list->length)
				buf_add_text(list, ", ");
			buf_add_text(list, *person->account ? person->account : person->folder);
			if (*person->full_name)
				buf_printf(list, " (%s)", person->full_name);
		}
	}
}

static bool complain(const struct survey *survey, const char *name, struct error *error)
{
	struct buf list = {0};

	list_persons(survey, &list);
	if (list.length == 0)
		error_set(error, STATUS_USAGE,
		    "there is no person called %s: no old system with persons was found", name);
	else
		error_set(error, STATUS_USAGE, "there is no person called %s; there are: %s", name,
		    buf_text(&list));
	buf_free(&list);
	return false;
}

bool persons_asked(struct plan *plan, const struct survey *survey,
    const struct plan_options *options, const bool **asked, struct error *error)
{
	size_t count = 0;
	bool *flags;

	*asked = NULL;
	if (options->n_persons == 0)
		return true;
	for (size_t s = 0; s < survey->n_systems; s++)
		count += survey->systems[s].n_persons;
	flags = arena_array(&plan->arena, count, sizeof(*flags));
	if (!flags)
		return error_no_memory(error);
	for (size_t i = 0; i < options->n_persons; i++)
		if (ask_for(survey, options->persons[i], flags) == 0)
			return complain(survey, options->persons[i], error);
	*asked = flags;
	return true;
}
