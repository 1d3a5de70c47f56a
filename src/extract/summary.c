/* What was taken and what not, for people: see summary.h. */
#include "extract/summary.h"

#include "base/filetime.h"
#include "base/text.h"
#include "extract/handover.h"
#include "extract/items.h"
#include "extract/losses.h"
#include "extract/wipe_list.h"
#include "plan/belongings.h"

#include <inttypes.h>
#include <string.h>

#define WIDTH 79
#define EXAMPLES 5

bool reason_needs_decision(enum reason reason)
{
	return reason == REASON_OFFERED || reason == REASON_PASSWORDS ||
	       reason == REASON_RECYCLE_BIN;
}

/* "   1,234 files    3.4 GB" */
static void figures(FILE *stream, const struct tally *tally)
{
	fprintf(stream, "%11s file%s %9s", text_count(tally->count).text,
	    tally->count == 1 ? " " : "s", text_size(tally->bytes).text);
}

static void padded(FILE *stream, unsigned indent, const char *text, unsigned width)
{
	unsigned columns = text_columns(text);

	fprintf(stream, "%*s", (int)indent, "");
	text_print(stream, text);
	fprintf(stream, "%*s", columns < width ? (int)(width - columns) : 1, "");
}

static struct tally add(struct tally a, struct tally b)
{
	return (struct tally){a.count + b.count, a.bytes + b.bytes};
}

/* One owner (person, shared, outside) with the places below; the first of its groups is `first`. */
static void print_owner(FILE *stream, const struct summary *summary, size_t first)
{
	const struct group *groups = summary->plan->groups;
	const struct group *owner = &groups[first];
	struct tally total = {0, 0};

	for (size_t i = first; i < summary->plan->n_groups; i++)
		if (groups[i].system == owner->system && groups[i].person == owner->person)
			total = add(total, sums_arrived(summary->sums, i));
	padded(stream, 2, group_owner_name(summary->plan, owner), 32);
	figures(stream, &total);
	if (summary->plan->survey->n_systems > 1 &&
	    owner->system < summary->plan->survey->n_systems) {
		fputs("  on ", stream);
		text_print(stream, summary->plan->survey->systems[owner->system].key);
	}
	fputc('\n', stream);
	for (size_t i = first; i < summary->plan->n_groups; i++) {
		struct tally tally = sums_arrived(summary->sums, i);
		const char *slash = strrchr(groups[i].folder, '/');

		if (groups[i].system != owner->system || groups[i].person != owner->person ||
		    tally.count == 0)
			continue;
		padded(stream, 4, slash == NULL ? groups[i].folder : slash + 1, 30);
		figures(stream, &tally);
		fputc('\n', stream);
	}
}

static bool is_first_of_owner(const struct plan *plan, size_t group)
{
	for (size_t i = 0; i < group; i++)
		if (plan->groups[i].system == plan->groups[group].system &&
		    plan->groups[i].person == plan->groups[group].person)
			return false;
	return true;
}

static void print_left(FILE *stream, const struct summary *summary)
{
	bool any = false;

	for (unsigned reason = 0; reason < REASON_COUNT; reason++) {
		const struct tally *tally = &summary->sums->left[reason];

		if (tally->count == 0 || reason_needs_decision((enum reason)reason))
			continue;
		if (!any)
			fputs("\nLeft on the old drive:\n", stream);
		any = true;
		padded(stream, 2, reason_name((enum reason)reason), 32);
		figures(stream, tally);
		fputs("\n      ", stream);
		text_wrap(stream, reason_sentence((enum reason)reason), 6, WIDTH);
	}
}

static void print_examples(FILE *stream, const struct summary *summary, enum reason reason)
{
	const struct plan *plan = summary->plan;
	struct buf path = {0};
	unsigned printed = 0;

	for (size_t i = 0; i < plan->n_items && printed < EXAMPLES; i++) {
		const struct item *item = &plan->items[i];

		if (item->reason != reason || item->state != STATE_LEFT || item->kind != ITEM_FILE)
			continue;
		buf_clear(&path);
		/* What is in the recycle bin is known by the path that it had. */
		if (!plan_was(plan, item, &path)) {
			if (plan->survey->volumes[item->volume].letter != 0)
				buf_add_text(&path, plan->survey->volumes[item->volume].name);
			plan_old_path(plan, item, &path);
		}
		fputs("      ", stream);
		text_print(stream, buf_text(&path));
		fputc('\n', stream);
		printed++;
	}
	buf_free(&path);
}

static void print_decisions(FILE *stream, const struct summary *summary)
{
	bool any = false;

	for (unsigned reason = 0; reason < REASON_COUNT; reason++) {
		if (!reason_needs_decision((enum reason)reason) ||
		    summary->sums->left[reason].count == 0)
			continue;
		if (!any)
			fputs("\nNot taken, needs a decision (take it with --take):\n", stream);
		any = true;
		padded(stream, 2, reason_name((enum reason)reason), 32);
		figures(stream, &summary->sums->left[reason]);
		fputs("\n      ", stream);
		text_wrap(stream, reason_sentence((enum reason)reason), 6, WIDTH);
		print_examples(stream, summary, (enum reason)reason);
	}
}

/* Kinds of belongings, over all owners: they are counted above, too. */
static void print_belongings(FILE *stream, const struct plan *plan)
{
	struct belongings belongings;
	bool good = belongings_find(&belongings, plan), any = false;

	for (unsigned kind = 0; good && kind < BELONGING_COUNT; kind++) {
		struct tally taken = {0, 0}, left = {0, 0};

		for (size_t i = 0; i < belongings.count; i++) {
			const struct belonging *of = &belongings.items[i];

			if (of->kind != kind)
				continue;
			taken = add(taken, (struct tally){of->files, of->bytes});
			left = add(left, (struct tally){of->left_files, of->left_bytes});
		}
		if (taken.count + left.count == 0)
			continue;
		if (!any)
			fputs("\nAmong that:\n", stream);
		any = true;
		padded(stream, 2, belonging_words((enum belonging_kind)kind), 32);
		figures(stream, &taken);
		if (left.count > 0)
			fprintf(stream, ", not taken %s", text_size(left.bytes).text);
		fputc('\n', stream);
	}
	belongings_free(&belongings);
}

/* The first of what is likely forgotten; decisions were listed already. */
static void print_forgotten(FILE *stream, const struct plan *plan)
{
	struct forgotten_list list;
	unsigned printed = 0;
	bool good = forgotten_find(&list, plan);

	for (size_t i = 0; good && i < list.count && printed < EXAMPLES; i++) {
		const struct forgotten *row = &list.items[i];
		struct filetime_text day = filetime_to_text(row->newest);
		struct buf path = {0};

		if (reason_needs_decision(row->reason))
			continue;
		if (printed++ == 0)
			fputs("\nLikely forgotten, not taken:\n", stream);
		forgotten_path(row, plan, &path);
		fprintf(stream, "  %9s  %.10s  ", text_size(row->bytes).text, day.text);
		text_wrap(stream, forgotten_words(row), 25, WIDTH);
		fputs("      ", stream);
		text_wrap(stream, buf_text(&path), 6, WIDTH);
		buf_free(&path);
	}
	forgotten_free(&list);
}

static void print_findings(
    FILE *stream, const struct findings *findings, enum weight weight, const char *title)
{
	if (findings_count(findings, weight) == 0)
		return;
	fprintf(stream, "\n%s:\n", title);
	for (size_t i = 0; i < findings->count; i++) {
		const struct finding *finding = &findings->items[i];
		struct buf text = {0};

		if (finding->weight != weight)
			continue;
		finding_to_text(finding, &text);
		fputs("  - ", stream);
		text_wrap(stream, buf_text(&text), 4, WIDTH);
		buf_free(&text);
	}
}

/* Where the rest of a job lies that went on at another destination. */
static void print_other_folders(FILE *stream, const struct places *places)
{
	for (size_t i = 0; i < places->count; i++) {
		fprintf(stream, "\nand, of the same job, on the %s destination%s",
		    handover_ordinal((unsigned)i + 1).text,
		    places->items[i].folder == NULL ? ", which is not attached" : "\n  ");
		if (places->items[i].folder != NULL)
			text_print(stream, places->items[i].folder);
	}
}

static void print_verified(FILE *stream, const struct left_place *place)
{
	fputs(" '", stream);
	text_print(stream, place->folder == NULL ? "FOLDER-THERE" : place->folder);
	fputc('\'', stream);
}

static void print_next(FILE *stream, const struct summary *summary)
{
	if (summary->job == NULL) {
		fputs("\nNothing was written: this was a dry run.\n", stream);
		return;
	}
	fputs("\nThe result is in\n  ", stream);
	text_print(stream, summary->job->folder);
	print_other_folders(stream, summary->places);
	fputs("\nNext: prove it with\n  coldlift verify '", stream);
	text_print(stream, summary->job->folder);
	fputc('\'', stream);
	for (size_t i = 0; i < summary->places->count; i++)
		print_verified(stream, &summary->places->items[i]);
	fputs("\nKeep the old drive untouched until its owner has checked the result on the new\n"
	      "computer, and wipe it only then. What to see to before is in the job:\n"
	      "  " WIPE_TEXT_FILE "\n",
	    stream);
}

void summary_print(FILE *stream, const struct summary *summary)
{
	const struct plan *plan = summary->plan;
	struct tally total = {0, 0};

	fputs(summary->job == NULL ? "Would be taken:\n" : "Taken:\n", stream);
	for (size_t i = 0; i < plan->n_groups; i++) {
		total = add(total, sums_arrived(summary->sums, i));
		if (is_first_of_owner(plan, i))
			print_owner(stream, summary, i);
	}
	padded(stream, 2, "in all", 32);
	figures(stream, &total);
	fputc('\n', stream);
	print_belongings(stream, plan);
	/* What somebody has to decide comes before what needs no attention. */
	print_decisions(stream, summary);
	print_forgotten(stream, plan);
	print_left(stream, summary);
	print_findings(stream, summary->findings, WEIGHT_LOSS, "Losses");
	print_findings(stream, summary->findings, WEIGHT_CAUTION, "Cautions");
	print_next(stream, summary);
}
