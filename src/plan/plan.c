/* Making a plan, step by step: see plan.h and inner.h. */
#include "plan/inner.h"

#include <stdlib.h>

static bool decide_all(struct plan *plan, const struct survey *survey,
    const struct plan_options *options, struct findings *findings, struct decider *decider,
    struct error *error)
{
	const bool *asked;

	if (!persons_asked(plan, survey, options, &asked, error) ||
	    !choices_compile(&decider->choices, options, &plan->arena, error))
		return false;
	if (!rules_compile(&decider->rules, plan_rules, n_plan_rules, &plan->arena))
		return error_no_memory(error);
	return layout_make(decider->layout, plan, survey, asked, findings, error) &&
	       walk_all(decider, error);
}

bool plan_make(struct plan *plan, const struct survey *survey, const struct plan_options *options,
    struct findings *findings, struct error *error)
{
	static const struct plan_options none = {0};
	struct layout layout = {.survey = survey};
	struct decider *decider = calloc(1, sizeof(*decider));
	bool good;

	*plan = (struct plan){.survey = survey};
	if (!decider)
		return error_no_memory(error);
	decider->layout = &layout;
	good = decide_all(plan, survey, options ? options : &none, findings, decider, error) &&
	       finish_same(plan, error) && twins_of_streams(plan, error) &&
	       finish_order(plan, error);
	if (good) {
		twins_sort(plan);
		finish_sums(plan, findings);
	}
	layout_free(&layout);
	free(decider);
	return good;
}

void plan_free(struct plan *plan)
{
	free(plan->groups);
	free(plan->items);
	free(plan->twins);
	arena_free(&plan->arena);
	*plan = (struct plan){0};
}
