/*
 * Whether a person's hive is really that person's: profiles get mixed up when somebody copies a
 * hive into another folder to mend it.
 *
 * The desktop writes the full path of each of a person's folders into "Shell Folders" at every
 * sign-in (winreg-kb, "User shell folders"); a hive from elsewhere still names the other profile.
 */
#include "system/inner.h"

#include "base/utf.h"

#include <string.h>

#define KEY_FOLDERS "Software\\" KEY_WINDOWS "\\Explorer\\Shell Folders"
#define VALUES_LIMIT 200u
#define NAMED_LEAST 2u /* one folder elsewhere is no rare thing */

static bool lies_in(const char *path, const char *folder)
{
	size_t length = strlen(folder);

	return length > 3 && utf_starts_fold(path, folder) &&
	       (path[length] == '\0' || path[length] == '\\');
}

/* The person whose profile the path lies in; SIZE_MAX: nobody's. */
static size_t owner_of(const struct old_system *system, const char *path)
{
	for (size_t i = 0; i < system->n_persons; i++)
		if (!system->persons[i].is_service && lies_in(path, system->persons[i].path))
			return i;
	return SIZE_MAX;
}

const struct person *hive_names_other(
    const struct learn *learn, const struct person *person, const struct hive *hive)
{
	const struct old_system *system = learn->system;
	hive_cell key = hive_find(hive, hive_root(hive), KEY_FOLDERS), *values;
	const struct person *other = NULL;
	struct arena arena = {0};
	size_t count = 0, named = 0;
	bool is_own = false;

	if (key != HIVE_NO_CELL)
		count = hive_values(hive, key, &arena, &values);
	for (size_t i = 0; i < count && i < VALUES_LIMIT && !is_own; i++) {
		char *name = hive_value_name(hive, values[i], &arena);
		char *path = name ? hive_text(hive, key, "", name, &arena, NULL) : NULL;
		size_t owner = path ? owner_of(system, path) : SIZE_MAX;

		if (owner == SIZE_MAX)
			continue;
		is_own = &system->persons[owner] == person;
		other = &system->persons[owner];
		named++;
	}
	arena_free(&arena);
	return is_own || named < NAMED_LEAST ? NULL : other;
}
