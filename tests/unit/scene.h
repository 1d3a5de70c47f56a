/*
 * One test's drives and plan: two persons with profiles on C:, a public profile, and D: as a volume
 * for data. Made of forge.h: start, add files, settle, add places, make, expect, end.
 */
#ifndef UNIT_SCENE_H
#define UNIT_SCENE_H

#include "forge.h"
#include "plan/plan.h"

struct scene {
	struct forge forge;
	struct findings findings;
	struct plan plan;
	size_t system, mara, rowan;
};

void scene_start(struct scene *scene);
/* Catalogues are done: now who is who. */
void scene_settle(struct scene *scene);
void scene_make(struct scene *scene, const struct plan_options *options);
void scene_end(struct scene *scene);

/* "C:\Users\mara\x.txt" or, for a stream, "...x.txt:note". Fails when there is none, or two. */
const struct item *scene_item(const struct scene *scene, const char *full);

/* State, reason and, where there is one, archive path in one text: "taken place data/PC/x.txt". */
void scene_expect(const struct scene *scene, const char *full, const char *expected);

#define PC "data/FERNHILL-PC/"

#endif
