/* Going through a person's folders of settings, and where they are. */
#include "system/inner.h"

#include <string.h>

#define DEPTH_LIMIT 4u /* "Packages\NAME\LocalState\..." */
#define VISITS_LIMIT 50000u

struct location settings_folder(const struct survey *survey, const struct person *person,
    const char *role, const char *path)
{
	struct location at = person->profile;
	const struct catalogue *catalogue;

	for (size_t i = 0; i < person->n_settings; i++)
		if (strcmp(person->settings[i].role, role) == 0)
			return person->settings[i].at;
	catalogue = survey_catalogue(survey, at.volume);
	if (catalogue && at.node != NONE)
		at.node = catalogue_lookup(catalogue, at.node, path);
	return at;
}

static void walk(struct learn *learn, size_t person, struct location at, unsigned depth,
    look_at_folder *look, size_t *visits)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, at.volume);
	const uint32_t *children;
	size_t count;

	if (!catalogue || at.node == NONE || ++*visits > VISITS_LIMIT)
		return;
	look(learn, person, catalogue, at);
	count = depth == 0 ? 0 : catalogue_children(catalogue, at.node, &children);
	for (size_t i = 0; i < count; i++) {
		uint32_t number = catalogue->entries[children[i]].node;
		const struct node *node = catalogue_node(catalogue, number);

		if (node && node->flags & NODE_FOLDER && node->reparse_tag == 0)
			walk(learn, person, (struct location){at.volume, number}, depth - 1, look,
			    visits);
	}
}

void settings_walk(struct learn *learn, size_t person, look_at_folder *look)
{
	static const char *const folders[][2] = {{"settings-roaming", "AppData\\Roaming"},
	    {"settings-local", "AppData\\Local"}};
	const struct person *of = &learn->system->persons[person];
	size_t visits = 0;

	if (of->is_service)
		return;
	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++)
		walk(learn, person,
		    settings_folder(learn->survey, of, folders[i][0], folders[i][1]), DEPTH_LIMIT,
		    look, &visits);
}

const char *old_path_of(struct learn *learn, struct location at)
{
	const struct old_system *system = learn->system;
	char letter = at.volume == system->volume ? system->letter : 0;
	struct buf path = {0};
	const char *kept;

	for (size_t i = 0; i < system->n_letters; i++)
		if (system->letters[i].volume == at.volume)
			letter = system->letters[i].letter;
	if (letter)
		buf_printf(&path, "%c:", letter);
	else
		buf_add_text(&path, learn->survey->volumes[at.volume].name);
	catalogue_node_path(survey_catalogue(learn->survey, at.volume), at.node, &path);
	kept = learn_text(learn, "%s", buf_text(&path));
	buf_free(&path);
	return kept;
}
