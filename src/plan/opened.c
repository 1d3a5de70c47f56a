/*
 * What a person opened lately, and the plan leaves: found by shortcuts and lists of things opened
 * last.
 *
 * Attachments opened from mail lie among temporary files, papers beside programs, and so on: rules
 * that are right for most of what lies there are wrong for these.
 */
#include "plan/inner.h"

#include "base/filetime.h"

#include <stdlib.h>
#include <string.h>

#define SHOWN 8u                                            /* findings for one person */
#define LATELY (INT64_C(183) * 86400 * FILETIME_PER_SECOND) /* before the last use of the PC */

/* A file that somebody opened; of several times the last one counts. */
struct used {
	uint32_t volume, node;
	size_t system, person;
	int64_t when;
	uint32_t item; /* that is left, NONE: none */
	bool is_taken; /* under another name */
};

static int by_file(const void *a, const void *b)
{
	const struct used *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (one->node != two->node)
		return one->node < two->node ? -1 : 1;
	if (one->when != two->when)
		return one->when > two->when ? -1 : 1;
	return one->person < two->person ? -1 : one->person > two->person;
}

static int by_person(const void *a, const void *b)
{
	const struct used *one = a, *two = b;

	if (one->system != two->system)
		return one->system < two->system ? -1 : 1;
	if (one->person != two->person)
		return one->person < two->person ? -1 : 1;
	if (one->when != two->when)
		return one->when > two->when ? -1 : 1;
	return by_file(a, b);
}

static size_t count_opened(const struct survey *survey)
{
	size_t count = 0;

	for (size_t s = 0; s < survey->n_systems; s++)
		count += survey->systems[s].n_opened;
	return count;
}

/* Each file once, in the order of by_file(). */
static size_t collect(const struct survey *survey, struct used *used)
{
	size_t count = 0, kept = 0;

	for (size_t s = 0; s < survey->n_systems; s++) {
		const struct old_system *system = &survey->systems[s];

		for (size_t i = 0; i < system->n_opened; i++) {
			const struct opened *opened = &system->opened[i];

			if (opened->used > 0 && opened->used >= system->last_used - LATELY)
				used[count++] = (struct used){(uint32_t)opened->at.volume,
				    opened->at.node, s, opened->person, opened->used, NONE, false};
		}
	}
	qsort(used, count, sizeof(*used), by_file);
	for (size_t i = 0; i < count; i++)
		if (kept == 0 || used[i].volume != used[kept - 1].volume ||
		    used[i].node != used[kept - 1].node)
			used[kept++] = used[i];
	return kept;
}

/* Left by a rule, not because somebody said so, and something that people make. */
static bool is_missed(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);

	return item->kind == ITEM_FILE && item->state == STATE_LEFT && item->stream != NONE &&
	       item->reason != REASON_NOT_ASKED && item->reason != REASON_FILE_SYSTEM &&
	       *catalogue_name(catalogue, catalogue->streams[item->stream].name) == '\0' &&
	       kind_is_document(catalogue_name(catalogue, catalogue->entries[item->entry].name));
}

static struct used *find(struct used *used, size_t count, uint32_t volume, uint32_t node)
{
	size_t low = 0, high = count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (used[middle].volume < volume ||
		    (used[middle].volume == volume && used[middle].node < node))
			low = middle + 1;
		else
			high = middle;
	}
	return low < count && used[low].volume == volume && used[low].node == node ? &used[low]
										   : NULL;
}

static void report(const struct plan *plan, const struct used *used, struct findings *findings)
{
	const struct item *item = &plan->items[used->item];
	const struct person *person = &plan->survey->systems[used->system].persons[used->person];
	struct filetime_text day = filetime_to_text(used->when);
	struct buf path = {0}, advice = {0};

	buf_add_text(&path, plan->survey->volumes[item->volume].name);
	plan_old_path(plan, item, &path);
	buf_printf(&advice, "If it is wanted, take it with --take \"%s\".", buf_text(&path));
	findings_add(findings, WEIGHT_CAUTION, "used-not-taken", person->key, buf_text(&advice),
	    "%s opened %s last on %.10s, and it is not taken: %s",
	    *person->account ? person->account : person->folder, buf_text(&path), day.text,
	    reason_sentence((enum reason)item->reason));
	buf_free(&path);
	buf_free(&advice);
}

void opened_report(const struct plan *plan, struct findings *findings)
{
	size_t count = count_opened(plan->survey), shown = 0, left = 0;
	struct used *used = count ? calloc(count, sizeof(*used)) : NULL;

	if (!used)
		return;
	count = collect(plan->survey, used);
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		struct used *of;

		if (item->kind != ITEM_FILE)
			continue;
		of = find(used, count, item->volume,
		    plan_catalogue(plan->survey, item->volume)->entries[item->entry].node);
		if (of && item->state != STATE_LEFT)
			of->is_taken = true;
		else if (of && of->item == NONE && is_missed(plan, item))
			of->item = (uint32_t)i;
	}
	for (size_t i = 0; i < count; i++)
		if (used[i].item != NONE && !used[i].is_taken)
			used[left++] = used[i];
	qsort(used, left, sizeof(*used), by_person);
	for (size_t i = 0; i < left; i++) {
		bool is_next = i > 0 && used[i].system == used[i - 1].system &&
			       used[i].person == used[i - 1].person;

		shown = is_next ? shown + 1 : 0;
		if (shown < SHOWN)
			report(plan, &used[i], findings);
	}
	free(used);
}
