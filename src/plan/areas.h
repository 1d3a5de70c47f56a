/*
 * How areas.c and anchors.c share the work: the former keeps areas and anchors, the latter knows
 * where the survey wants them.
 */
#ifndef PLAN_AREAS_H
#define PLAN_AREAS_H

#include "plan/inner.h"

/* Which of several claims to one folder counts. */
enum priority {
	PRIORITY_SYSTEM, /* the Windows folder and programs: never anybody's place */
	PRIORITY_PLACE,  /* a place where it is by default */
	PRIORITY_MOVED,  /* a place that was moved here */
	PRIORITY_PROFILE,
	PRIORITY_SETTINGS,
	PRIORITY_SHARED,
	PRIORITY_TEMPLATE, /* the default profile */
	PRIORITY_NONE,
};

/* Adds an area; NONE when memory runs out. */
uint32_t area_add(struct layout *layout, struct area area);

/*
 * Lets `area` (NONE: only `scopes` count) start at a node. Returns the area that is there already
 * when that one keeps the node, otherwise NONE.
 */
uint32_t anchor_put(
    struct layout *layout, struct location at, uint32_t area, uint8_t priority, uint8_t scopes);

/*
 * Is the folder an unpacked driver package and nothing else: set-up information with the drivers or
 * catalogues it names, and only files of the kinds that come with such?
 */
bool holds_only_drivers(const struct catalogue *catalogue, uint32_t folder);

/* Puts every anchor that the survey knows. */
void anchors_of_survey(struct layout *layout);

#endif
