/*
 * Areas: whose a folder is and what it is. Every folder inherits its parent's area, unless an
 * anchor or a folder rule says otherwise.
 */
#include "plan/areas.h"

#include <stdlib.h>

uint32_t area_add(struct layout *layout, struct area area)
{
	if (layout->n_areas >= NONE - 1 || !array_reserve(&layout->areas, &layout->areas_capacity,
					       layout->n_areas + 1, sizeof(*layout->areas))) {
		layout->no_memory = true;
		return NONE;
	}
	area.origin = NONE;
	area.first_made = area.next_made = NONE;
	layout->areas[layout->n_areas] = area;
	return (uint32_t)layout->n_areas++;
}

/* Hangs a new area below the one that it was made from, to be found again. */
static uint32_t add_made(struct layout *layout, uint32_t origin, struct area area)
{
	uint32_t index = area_add(layout, area);

	if (index == NONE)
		return NONE;
	layout->areas[index].origin = origin;
	layout->areas[index].next_made = layout->areas[origin].first_made;
	layout->areas[origin].first_made = index;
	return index;
}

uint32_t area_by_rule(
    struct layout *layout, uint32_t area, const struct rule *rule, int64_t created)
{
	struct area made = layout->areas[area];
	bool is_program = rule->reason == REASON_PROGRAM;

	made.reason = rule->reason;
	made.is_whole = rule->is_whole;
	made.is_top = false;
	made.since = is_program ? created : 0;
	/* Programs differ in their time; the others are few for one area and are used again. */
	if (!is_program)
		for (uint32_t i = layout->areas[area].first_made; i != NONE;
		     i = layout->areas[i].next_made)
			if (layout->areas[i].reason == made.reason &&
			    layout->areas[i].is_whole == made.is_whole &&
			    layout->areas[i].since == 0 && !layout->areas[i].is_top)
				return i;
	if (is_program)
		return area_add(layout, made);
	return add_made(layout, area, made);
}

uint32_t area_of_program(struct layout *layout, uint32_t area, int64_t created)
{
	struct area made = layout->areas[area];

	made.is_top = false;
	made.since = created;
	return area_add(layout, made);
}

uint32_t area_of_bulk(struct layout *layout, uint32_t area)
{
	struct area made = layout->areas[area];

	made.is_bulk = true;
	return area_add(layout, made);
}

static struct anchor *find_anchor(const struct layout *layout, size_t volume, uint32_t node)
{
	const struct catalogue *catalogue;
	uint32_t index;

	if (volume >= layout->survey->n_volumes)
		return NULL;
	catalogue = plan_catalogue(layout->survey, volume);
	if (!catalogue || node >= catalogue->n_nodes)
		return NULL;
	index = layout->volumes[volume].of_node[node];
	return index ? &layout->anchors[index] : NULL;
}

const struct anchor *layout_anchor(const struct layout *layout, size_t volume, uint32_t node)
{
	return find_anchor(layout, volume, node);
}

static struct anchor *add_anchor(struct layout *layout, struct location at)
{
	struct anchor *anchor;

	if (!array_reserve(&layout->anchors, &layout->anchors_capacity, layout->n_anchors + 1,
		sizeof(*layout->anchors))) {
		layout->no_memory = true;
		return NULL;
	}
	anchor = &layout->anchors[layout->n_anchors];
	*anchor = (struct anchor){
	    .volume = at.volume, .node = at.node, .area = NONE, .priority = PRIORITY_NONE};
	layout->volumes[at.volume].of_node[at.node] = (uint32_t)layout->n_anchors++;
	return anchor;
}

uint32_t anchor_put(
    struct layout *layout, struct location at, uint32_t area, uint8_t priority, uint8_t scopes)
{
	const struct catalogue *catalogue;
	struct anchor *anchor;

	if (at.volume >= layout->survey->n_volumes)
		return NONE;
	catalogue = plan_catalogue(layout->survey, at.volume);
	if (!catalogue || !catalogue_node(catalogue, at.node))
		return NONE;
	anchor = find_anchor(layout, at.volume, at.node);
	if (!anchor)
		anchor = add_anchor(layout, at);
	if (!anchor)
		return NONE;
	anchor->scopes |= scopes;
	if (area == NONE)
		return NONE;
	if (anchor->priority <= priority)
		return anchor->area;
	anchor->area = area;
	anchor->priority = priority;
	return NONE;
}

static bool make_tables(struct layout *layout)
{
	const struct survey *survey = layout->survey;
	size_t number = 0;

	layout->volumes = calloc(survey->n_volumes + 1, sizeof(*layout->volumes));
	layout->root_areas = calloc(survey->n_volumes + 1, sizeof(*layout->root_areas));
	layout->first_person = calloc(survey->n_systems + 1, sizeof(*layout->first_person));
	if (!layout->volumes || !layout->root_areas || !layout->first_person)
		return false;
	for (size_t s = 0; s < survey->n_systems; s++) {
		layout->first_person[s] = number;
		number += survey->systems[s].n_persons;
	}
	layout->registries = calloc(number + 1, sizeof(*layout->registries));
	layout->sealed = calloc(number + 1, sizeof(*layout->sealed));
	if (!layout->registries || !layout->sealed)
		return false;
	for (size_t p = 0; p < number; p++)
		layout->registries[p] = layout->sealed[p] = NONE;
	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct catalogue *catalogue = plan_catalogue(survey, v);

		if (!catalogue)
			continue;
		layout->volumes[v].of_node = calloc(catalogue->n_nodes + 1, sizeof(uint32_t));
		if (!layout->volumes[v].of_node)
			return false;
	}
	/* Number 0 stands for no anchor. */
	if (!array_reserve(
		&layout->anchors, &layout->anchors_capacity, 1, sizeof(*layout->anchors)))
		return false;
	layout->anchors[0] = (struct anchor){.volume = SIZE_MAX, .node = NONE, .area = NONE};
	layout->n_anchors = 1;
	return true;
}

bool layout_make(struct layout *layout, struct plan *plan, const struct survey *survey,
    const bool *asked, struct findings *findings, struct error *error)
{
	*layout =
	    (struct layout){.plan = plan, .survey = survey, .findings = findings, .asked = asked};
	if (!make_tables(layout) || !additions_mark(layout))
		return error_no_memory(error);
	anchors_of_survey(layout);
	return !layout->no_memory || error_no_memory(error);
}

void layout_free(struct layout *layout)
{
	for (size_t v = 0; layout->volumes && v < layout->survey->n_volumes; v++) {
		free(layout->volumes[v].of_node);
		free(layout->volumes[v].added);
	}
	free(layout->volumes);
	free(layout->root_areas);
	free(layout->first_person);
	free(layout->registries);
	free(layout->sealed);
	free(layout->areas);
	free(layout->anchors);
}
