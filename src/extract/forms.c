/* Files in another form: see forms.h. */
#include "extract/forms.h"

#include "base/text.h"
#include "extract/items.h"
#include "extract/losses.h"

#include <stdlib.h>

/* What of a group is in the archive. */
struct form_tally {
	uint64_t locked, keys; /* files of a sealed group */
	uint64_t ranges;       /* files of which only the ranges with data are there */
	uint64_t size, stored; /* bytes that those have, and that were stored of them */
	uint32_t example;      /* one of them */
};

static void count(struct form_tally *tallies, const struct outcomes *outcomes)
{
	const struct plan *plan = outcomes->plan;

	for (size_t i = 0; i < outcomes->n_items; i++) {
		const struct item *item = &plan->items[i];
		enum item_form form = (enum item_form)item->form;
		struct form_tally *tally;

		if (item->group == NONE || item->kind != ITEM_FILE ||
		    (outcomes->items[i].flags & OUTCOME_STORED) == 0)
			continue;
		tally = &tallies[item->group];
		if (plan->groups[item->group].is_sealed && form_is_encrypted(form))
			tally->locked++;
		else if (plan->groups[item->group].is_sealed)
			tally->keys++;
		if (!form_is_ranges(form))
			continue;
		if (tally->ranges++ == 0)
			tally->example = (uint32_t)i;
		tally->size += item_size(plan, item);
		tally->stored += item_stored_size(plan, item);
	}
}

/* Every person whose keys are in the job should know how to treat them. */
static void report_sealed(const struct plan *plan, const struct group *group,
    const struct form_tally *tally, struct findings *findings)
{
	if (tally->locked > 0)
		findings_add(findings, WEIGHT_CAUTION, "sealed-part", group_owner_name(plan, group),
		    "Give it to nobody but its owner, and keep it: with the password, whoever has "
		    "it can open what is in it.",
		    "The part '%s' holds %s encrypted file%s of this person, unopened, and the "
		    "keys that open them together with the person's password. Both are needed, "
		    "and both are gone when the old drive is wiped.",
		    group->key, text_count(tally->locked).text, tally->locked == 1 ? "" : "s");
	else if (tally->keys > 0)
		findings_add(findings, WEIGHT_NOTE, "sealed-part", group_owner_name(plan, group),
		    "Give it to nobody but its owner.",
		    "The part '%s' holds the keys that the old system made for this person, "
		    "locked with the person's password. They open what was protected with "
		    "them, and nothing else.",
		    group->key);
}

static bool report_ranges(const struct plan *plan, const struct group *group,
    const struct form_tally *tally, struct findings *findings)
{
	const struct item *item = &plan->items[tally->example];
	struct buf path = {0};
	bool good;

	if (tally->ranges == 0)
		return true;
	if (plan->survey->volumes[item->volume].letter != 0)
		buf_add_text(&path, plan->survey->volumes[item->volume].name);
	plan_old_path(plan, item, &path);
	good = !path.failed;
	findings_add(findings, WEIGHT_CAUTION, "files-as-ranges", group_owner_name(plan, group),
	    "Nothing is lost: the record says for each where its ranges belong, and all else is "
	    "zeros. How to put such a file together again is in the program's description.",
	    "%s huge file%s (%s), such as %.500s, %s nearly nothing. Only what is really there is "
	    "in the archive: %s.",
	    text_count(tally->ranges).text, tally->ranges == 1 ? "" : "s",
	    text_size(tally->size).text, buf_text(&path), tally->ranges == 1 ? "holds" : "hold",
	    text_size(tally->stored).text);
	buf_free(&path);
	return good;
}

bool forms_report(const struct outcomes *outcomes, struct findings *findings)
{
	const struct plan *plan = outcomes->plan;
	struct form_tally *tallies = calloc(plan->n_groups + 1, sizeof(*tallies));
	bool good = tallies != NULL;

	if (good)
		count(tallies, outcomes);
	for (size_t g = 0; good && g < plan->n_groups; g++) {
		report_sealed(plan, &plan->groups[g], &tallies[g], findings);
		good = report_ranges(plan, &plan->groups[g], &tallies[g], findings);
	}
	free(tallies);
	return good;
}
