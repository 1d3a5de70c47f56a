/*
 * Caches of clients that show the cloud as a drive with a letter of its own.
 *
 * Such a drive is on no disk; what was changed and not yet uploaded lies in a cache among the
 * settings, under numbers instead of names. It is known by its structure: a folder that holds a
 * folder "content_cache" and, beside it, a database of what is what ("metadata..."). Common
 * practice, no source.
 */
#include "system/ties.h"

#include "base/text.h"
#include "base/utf.h"
#include "system/inner.h"

#define FILES_LIMIT 200000u

/* The last change of a file in the folder, down to some levels. */
static int64_t newest_below(
    const struct catalogue *catalogue, uint32_t folder, unsigned depth, size_t *visits)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);
	int64_t newest = 0;

	for (size_t i = 0; i < count && ++*visits < FILES_LIMIT; i++) {
		uint32_t number = catalogue->entries[children[i]].node;
		const struct node *node = catalogue_node(catalogue, number);
		int64_t time = 0;

		if (node && !(node->flags & NODE_FOLDER))
			time = node->modified;
		else if (node && depth > 0 && node->reparse_tag == 0)
			time = newest_below(catalogue, number, depth - 1, visits);
		newest = time > newest ? time : newest;
	}
	return newest;
}

static void look(
    struct learn *learn, size_t person, const struct catalogue *catalogue, struct location folder)
{
	struct location cache = {folder.volume, NONE};
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder.node, &children), visits = 0;
	struct ties *ties = learn->ties;
	bool has_list = false;

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const struct node *node = catalogue_node(catalogue, entry->node);
		const char *name = catalogue_name(catalogue, entry->name);

		if (node && node->flags & NODE_FOLDER && utf_equal_fold(name, "content_cache"))
			cache.node = entry->node;
		if (node && !(node->flags & NODE_FOLDER) && utf_starts_fold(name, "metadata"))
			has_list = true;
	}
	if (cache.node == NONE || !has_list || ties->n_cloud_drives == TIES_LIMIT)
		return;
	ties->cloud_drives[ties->n_cloud_drives++] = (struct cloud_drive){.person = person,
	    .path = old_path_of(learn, folder),
	    .at = folder,
	    .sum = survey_sum(learn->survey, cache),
	    .newest = newest_below(catalogue, cache.node, 8, &visits)};
}

static void report(struct learn *learn, const struct cloud_drive *drive)
{
	struct filetime_text day = filetime_to_text(drive->newest);

	if (drive->sum.files == 0)
		return;
	findings_add(learn->findings, WEIGHT_CAUTION, "cloud-drive-cache",
	    learn->system->persons[drive->person].key,
	    "Sign in to that service elsewhere and see whether the newest files are there. The cache is "
	    "taken as it is; its files have numbers instead of names.",
	    "A client showed the cloud as a drive of its own to %s. Files that were never uploaded may "
	    "lie only in its cache: %s %s (%s) in %s, the last of %.10s.",
	    person_words(learn->system, drive->person), text_count(drive->sum.files).text,
	    drive->sum.files == 1 ? "file" : "files", text_size(drive->sum.bytes).text, drive->path,
	    *day.text ? day.text : "a day not told");
}

void learn_cloud_drives(struct learn *learn)
{
	for (size_t i = 0; i < learn->system->n_persons; i++)
		settings_walk(learn, i, look);
	for (size_t i = 0; i < learn->ties->n_cloud_drives; i++)
		report(learn, &learn->ties->cloud_drives[i]);
}
