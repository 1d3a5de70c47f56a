/*
 * Documents that a person opened, by name alone (the desktop's own list of them), and that are on
 * none of the drives: under that name there is no file, nothing that was deleted, and no shortcut
 * that tells more.
 */
#include "plan/inner.h"

#include "base/filetime.h"
#include "base/text.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

#define NAMES_LIMIT 2000u      /* the desktop keeps some hundred for a person */
#define SHORTCUTS_LIMIT 20000u /* that are compared with them */

/* A name that somebody opened. */
struct name {
	uint32_t hash;
	size_t system;
	const struct recent *recent;
	bool is_here;
};

struct names {
	struct name *items; /* by hash */
	size_t count;
	size_t n_shortcuts;
};

static int by_hash(const void *a, const void *b)
{
	const struct name *one = a, *two = b;

	return one->hash < two->hash ? -1 : one->hash > two->hash;
}

/* All names with this hash are here: what shares it by chance is not told, no more. */
static void mark(struct names *names, uint32_t hash)
{
	size_t low = 0, high = names->count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (names->items[middle].hash < hash)
			low = middle + 1;
		else
			high = middle;
	}
	for (; low < names->count && names->items[low].hash == hash; low++)
		names->items[low].is_here = true;
}

static bool collect(struct names *names, const struct survey *survey)
{
	size_t total = 0;

	for (size_t s = 0; s < survey->n_systems; s++)
		total += survey->systems[s].n_recents;
	if (total > NAMES_LIMIT)
		total = NAMES_LIMIT;
	names->items = total > 0 ? calloc(total, sizeof(*names->items)) : NULL;
	for (size_t s = 0; names->items && s < survey->n_systems; s++)
		for (size_t i = 0; i < survey->systems[s].n_recents; i++) {
			const struct recent *recent = &survey->systems[s].recents[i];

			if (names->count < total && !strpbrk(recent->path, "\\/:") &&
			    kind_is_document(recent->path))
				names->items[names->count++] =
				    (struct name){utf_hash_fold(recent->path), s, recent, false};
		}
	if (names->count > 1)
		qsort(names->items, names->count, sizeof(*names->items), by_hash);
	return names->count > 0;
}

/* A shortcut's name is that of the document, with or without its ending, and one of its own. */
static void mark_by_shortcut(struct names *names, const char *name, size_t length)
{
	char stem[300];

	if (length < 5 || length >= sizeof(stem) || !utf_equal_fold(name + length - 4, ".lnk"))
		return;
	memcpy(stem, name, length - 4);
	if (names->n_shortcuts++ >= SHORTCUTS_LIMIT)
		return;
	stem[length - 4] = '\0';
	mark(names, utf_hash_fold(stem));
	for (size_t i = 0; i < names->count; i++)
		if (!names->items[i].is_here &&
		    utf_starts_fold(names->items[i].recent->path, stem) &&
		    strrchr(names->items[i].recent->path, '.') ==
			names->items[i].recent->path + length - 4)
			names->items[i].is_here = true;
}

static void mark_all(struct names *names, const struct survey *survey)
{
	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct catalogue *catalogue = plan_catalogue(survey, v);

		for (size_t i = 0; catalogue && i < catalogue->n_entries; i++) {
			const char *name = catalogue_name(catalogue, catalogue->entries[i].name);

			mark(names, utf_hash_fold(name));
			mark_by_shortcut(names, name, strlen(name));
		}
	}
	for (size_t i = 0; i < survey->n_deleted; i++) {
		const char *was = survey->deleted[i].was;
		const char *name = was ? strrchr(was, '\\') : NULL;

		if (name)
			mark(names, utf_hash_fold(name + 1));
	}
}

static void report(const struct names *names, const struct survey *survey, size_t system,
    size_t person, struct findings *findings)
{
	const struct person *of = &survey->systems[system].persons[person];
	const struct recent *last = NULL;
	size_t count = 0;

	for (size_t i = 0; i < names->count; i++) {
		const struct name *name = &names->items[i];

		/* The same name stands in the list of its kind, too. */
		if (name->is_here || name->system != system || name->recent->person != person)
			continue;
		count += i == 0 || names->items[i - 1].hash != name->hash;
		if (!last || name->recent->used > last->used)
			last = name->recent;
	}
	if (last)
		findings_add(findings, WEIGHT_NOTE, "opened-nowhere", of->key,
		    "Ask where such documents lay: on a stick, on a share, in the cloud; or they "
		    "were deleted or renamed since.",
		    "%s %s that %s opened %s on none of these drives under %s, such as %s.",
		    text_count(count).text, count == 1 ? "document" : "documents",
		    *of->account ? of->account : of->folder, count == 1 ? "is" : "are",
		    count == 1 ? "its name" : "their names", last->path);
}

void nowhere_report(const struct plan *plan, struct findings *findings)
{
	const struct survey *survey = plan->survey;
	struct names names = {0};

	if (collect(&names, survey)) {
		mark_all(&names, survey);
		for (size_t s = 0; s < survey->n_systems; s++)
			for (size_t p = 0; p < survey->systems[s].n_persons; p++)
				report(&names, survey, s, p, findings);
	}
	free(names.items);
}
