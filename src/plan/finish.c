/* Putting the items in order: second names, groups, sums, and what the user should know. */
#include "plan/inner.h"

#include "base/text.h"
#include "base/utf.h"

#include <stdlib.h>
#include <string.h>

static uint64_t item_bytes(const struct plan *plan, const struct item *item)
{
	if (item->stream == NONE)
		return 0;
	return plan_catalogue(plan->survey, item->volume)->streams[item->stream].size;
}

/* --- second names --- */

struct name_of {
	uint32_t volume, stream, entry;
	uint32_t item;
};

static int by_stream(const void *a, const void *b)
{
	const struct name_of *one = a, *two = b;

	if (one->volume != two->volume)
		return one->volume < two->volume ? -1 : 1;
	if (one->stream != two->stream)
		return one->stream < two->stream ? -1 : 1;
	return one->entry < two->entry ? -1 : one->entry > two->entry;
}

static bool has_several_names(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);

	return item->stream != NONE &&
	       (item->state == STATE_TAKEN || item->state == STATE_INCOMPLETE ||
		   item->state == STATE_LOCKED) &&
	       catalogue->nodes[catalogue->streams[item->stream].node].n_entries > 1;
}

bool finish_same(struct plan *plan, struct error *error)
{
	struct name_of *names = NULL;
	size_t count = 0, capacity = 0;

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (!has_several_names(plan, item))
			continue;
		if (!array_reserve(&names, &capacity, count + 1, sizeof(*names))) {
			free(names);
			return error_no_memory(error);
		}
		names[count++] =
		    (struct name_of){item->volume, item->stream, item->entry, (uint32_t)i};
	}
	if (count > 1)
		qsort(names, count, sizeof(*names), by_stream);
	for (size_t i = 1; i < count; i++) {
		const struct item *first;
		struct item *item = &plan->items[names[i].item];

		if (names[i].volume != names[i - 1].volume ||
		    names[i].stream != names[i - 1].stream)
			continue;
		first = &plan->items[names[i - 1].item];
		item->state = STATE_SAME;
		item->reason = first->reason;
	}
	free(names);
	return true;
}

/* --- order --- */

/* In which row an item stands: its group's, or behind all groups. */
static size_t row_of(const struct plan *plan, const struct item *item)
{
	return item->state == STATE_LEFT || item->group == NONE ? plan->n_groups : item->group;
}

/* What is left of a drive, outside every profile, needs no group. */
static void drop_needless_groups(struct plan *plan)
{
	for (size_t i = 0; i < plan->n_items; i++) {
		struct item *item = &plan->items[i];

		if (item->state == STATE_LEFT && item->group != NONE &&
		    plan->groups[item->group].system == SIZE_MAX)
			item->group = NONE;
	}
}

bool finish_order(struct plan *plan, struct error *error)
{
	size_t *starts = calloc(plan->n_groups + 2, sizeof(*starts));
	struct item *sorted = malloc((plan->n_items + 1) * sizeof(*sorted));

	drop_needless_groups(plan);
	if (!groups_sort(plan, error)) {
		free(starts);
		free(sorted);
		return false;
	}
	if (!starts || !sorted) {
		free(starts);
		free(sorted);
		return error_no_memory(error);
	}
	for (size_t i = 0; i < plan->n_items; i++)
		starts[row_of(plan, &plan->items[i]) + 1]++;
	for (size_t g = 0; g <= plan->n_groups; g++)
		starts[g + 1] += starts[g];
	for (size_t i = 0; i < plan->n_items; i++)
		sorted[starts[row_of(plan, &plan->items[i])]++] = plan->items[i];
	free(starts);
	free(plan->items);
	plan->items = sorted;
	plan->items_capacity = plan->n_items + 1;
	return true;
}

/* --- sums and findings --- */

struct undecided {
	uint64_t bytes;
	size_t count;
	size_t first; /* index of an item, as an example */
};

/* Longer paths, with a drive's letter in front, are beyond what many programs of Windows can open.
 */
#define LONG_PATH 256 /* UTF-16 units of the archive path: 260 less "C:\" and the NUL */

static size_t utf16_length(const char *text)
{
	size_t units = 0;

	for (; *text; text++) {
		uint8_t byte = (uint8_t)*text;

		if ((byte & 0xC0) != 0x80)
			units += byte >= 0xF0 ? 2 : 1;
	}
	return units;
}

static void report_long_paths(const struct plan *plan, struct findings *findings)
{
	struct buf path = {0};
	size_t count = 0;

	for (size_t i = 0; i < plan->n_items; i++) {
		if (plan->items[i].state == STATE_LEFT || plan->items[i].group == NONE)
			continue;
		buf_clear(&path);
		plan_archive_path(plan, &plan->items[i], &path);
		if (path.length > LONG_PATH && utf16_length(buf_text(&path)) > LONG_PATH)
			count++;
	}
	buf_free(&path);
	if (count > 0)
		findings_add(findings, WEIGHT_CAUTION, "paths-too-long", "",
		    "Unpack with a program that handles long paths, or on another system.",
		    "%s %s a path of more than 260 characters once unpacked, which many programs "
		    "on "
		    "Windows cannot open.",
		    text_count(count).text,
		    count == 1 ? "file or folder has" : "files and folders have");
}

/* A row for each group, and behind them one for each volume. */
static size_t undecided_row(const struct plan *plan, const struct item *item)
{
	return item->group == NONE ? plan->n_groups + item->volume : item->group;
}

/* "C:\Users\mara\x.txt" */
static void add_full_path(const struct plan *plan, const struct item *item, struct buf *path)
{
	buf_add_text(path, plan->survey->volumes[item->volume].name);
	plan_old_path(plan, item, path);
}

static void report_row(const struct plan *plan, size_t row, const struct undecided *sum,
    const char *code, const char *what, struct findings *findings)
{
	const struct group *group = row < plan->n_groups ? &plan->groups[row] : NULL;
	const char *subject = !group ? plan->survey->volumes[row - plan->n_groups].name
			      : group->person == SIZE_MAX
				  ? group->key
				  : plan->survey->systems[group->system].persons[group->person].key;
	struct buf path = {0}, was = {0};

	add_full_path(plan, &plan->items[sum->first], &path);
	buf_add_text(&was, ", which was ");
	if (plan_was(plan, &plan->items[sum->first], &was))
		buf_add_text(&path, buf_text(&was));
	buf_free(&was);
	findings_add(findings, WEIGHT_CAUTION, code, subject,
	    "Ask the owner. What is wanted is taken with --take and its path, as the record has "
	    "it.",
	    "Not taken, needs a decision: %s (%s %s, %s), such as %s.", what,
	    text_count(sum->count).text, sum->count == 1 ? "file" : "files",
	    text_size(sum->bytes).text, buf_text(&path));
	buf_free(&path);
}

static void report_undecided(const struct plan *plan, uint8_t reason, const char *code,
    const char *what, struct findings *findings)
{
	size_t n_rows = plan->n_groups + plan->survey->n_volumes;
	struct undecided *sums = calloc(n_rows + 1, sizeof(*sums));

	if (!sums)
		return;
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		struct undecided *sum = &sums[undecided_row(plan, item)];

		if (item->kind != ITEM_FILE || item->state != STATE_LEFT || item->reason != reason)
			continue;
		if (sum->count++ == 0)
			sum->first = i;
		sum->bytes += item_bytes(plan, item);
	}
	for (size_t row = 0; row < n_rows; row++)
		if (sums[row].count > 0)
			report_row(plan, row, &sums[row], code, what, findings);
	free(sums);
}

void finish_sums(struct plan *plan, struct findings *findings)
{
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (item->kind != ITEM_FILE || item->state != STATE_TAKEN)
			continue;
		plan->bytes_taken += item_bytes(plan, item);
		plan->n_taken++;
	}
	report_undecided(
	    plan, REASON_PASSWORDS, "passwords-not-taken", "stores of saved passwords", findings);
	report_undecided(plan, REASON_OFFERED, "offered-not-taken",
	    "keys, virtual machines, bulk data of programs and the like", findings);
	report_undecided(plan, REASON_RECYCLE_BIN, "recycle-bin-not-taken",
	    "what lies in the recycle bin, other than documents that were deleted lately", findings);
	opened_report(plan, findings);
	nowhere_report(plan, findings);
	report_long_paths(plan, findings);
}
