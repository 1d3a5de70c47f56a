/*
 * Additions: files that persons put into folders that are left otherwise, and that go with
 * something that the survey found (a font, a picture, a task). The survey says which; here they
 * only get past the area they lie in.
 */
#include "plan/inner.h"

#include "system/devices.h"

#include <stdlib.h>

static bool mark(struct layout *layout, struct location at)
{
	const struct catalogue *catalogue;
	struct anchors *anchors;

	if (at.volume >= layout->survey->n_volumes)
		return true;
	catalogue = plan_catalogue(layout->survey, at.volume);
	if (!catalogue || at.node >= catalogue->n_nodes)
		return true;
	anchors = &layout->volumes[at.volume];
	if (!anchors->added)
		anchors->added = calloc(catalogue->n_nodes / 8 + 1, 1);
	if (!anchors->added)
		return false;
	anchors->added[at.node / 8] |= (uint8_t)(1u << at.node % 8);
	return true;
}

bool additions_mark(struct layout *layout)
{
	const struct survey *survey = layout->survey;

	for (size_t s = 0; s < survey->n_systems; s++)
		for (size_t i = 0; i < survey->systems[s].n_things; i++)
			if (!mark(layout, survey->systems[s].things[i].file))
				return false;
	return true;
}

bool addition_is_taken(const struct layout *layout, size_t volume, uint32_t node, uint8_t reason)
{
	const uint8_t *added = layout->volumes[volume].added;

	/* Other reasons say something about the file itself, or that nobody asked for it. */
	if (reason != REASON_SYSTEM && reason != REASON_PROGRAM && reason != REASON_CACHE &&
	    reason != REASON_TEMPORARY)
		return false;
	return added && added[node / 8] & 1u << node % 8;
}
