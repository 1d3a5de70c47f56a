/* Sums over the outcomes: see sums.h. */
#include "extract/sums.h"

#include "extract/items.h"

#include <stdlib.h>

static void add(struct tally *tally, uint64_t bytes)
{
	tally->count++;
	tally->bytes += bytes;
}

bool sums_make(struct sums *sums, const struct outcomes *outcomes)
{
	const struct plan *plan = outcomes->plan;

	*sums = (struct sums){.n_groups = plan->n_groups};
	sums->groups = calloc(plan->n_groups + 1, sizeof(*sums->groups));
	if (sums->groups == NULL)
		return false;
	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		struct outcome outcome = outcome_of(outcomes, i);
		uint64_t size = item_size(plan, item);

		if (item->kind != ITEM_FILE)
			continue;
		add(&sums->states[outcome.state], size);
		if (outcome.state == STATE_LEFT)
			add(&sums->left[outcome.reason], size);
		if (item->group != NONE)
			add(&sums->groups[item->group][outcome.state], size);
	}
	return true;
}

void sums_free(struct sums *sums)
{
	free(sums->groups);
	*sums = (struct sums){0};
}

struct tally sums_arrived(const struct sums *sums, size_t group)
{
	static const enum state arrived[] = {
	    STATE_TAKEN, STATE_PARTIAL, STATE_INCOMPLETE, STATE_SAME};
	struct tally total = {0, 0};

	for (size_t i = 0; i < sizeof(arrived) / sizeof(arrived[0]); i++) {
		total.count += sums->groups[group][arrived[i]].count;
		total.bytes += sums->groups[group][arrived[i]].bytes;
	}
	return total;
}
