/* The letters that volumes had on the old PC; see old_letters.h. */
#include "cmd/old_letters.h"

#include "base/stop.h"
#include "system/survey.h"

#include <stdlib.h>
#include <string.h>

static bool has_ntfs(const struct drive_view *view)
{
	for (size_t i = 0; i < view->table.count; i++)
		if (view->volumes[i].filesystem == FILESYSTEM_NTFS)
			return true;
	return false;
}

/* The letter that the survey gave to the volume at `offset` of the drive, 0 for none. */
static char letter_at(const struct survey *survey, const char *path, uint64_t offset)
{
	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct survey_volume *volume = &survey->volumes[v];

		if (volume->partition->offset == offset &&
		    strcmp(survey->drives[volume->drive].about.path, path) == 0)
			return volume->letter;
	}
	return 0;
}

static void take_over(const struct survey *survey, struct drive_view *view)
{
	for (size_t i = 0; i < view->table.count; i++)
		view->volumes[i].letter =
		    letter_at(survey, view->drive.path, view->table.items[i].offset);
}

void old_letters_find(struct drive_view *views, size_t count)
{
	const char **paths = calloc(count + 1, sizeof(*paths));
	struct findings findings;
	struct survey survey;
	struct error error;
	sigset_t before;
	size_t n = 0;

	if (paths == NULL)
		return;
	for (size_t i = 0; i < count; i++)
		if (views[i].readable && !views[i].faulty && has_ntfs(&views[i]))
			paths[n++] = views[i].drive.path;
	if (n > 0) {
		/* What else the survey finds is the business of the command `survey`. */
		findings_init(&findings);
		stop_hold(&before);
		if (survey_run_unasked(&survey, paths, n, NULL, &findings, &error))
			for (size_t i = 0; i < count; i++)
				take_over(&survey, &views[i]);
		survey_free(&survey);
		stop_release(&before);
		findings_free(&findings);
	}
	free(paths);
}
