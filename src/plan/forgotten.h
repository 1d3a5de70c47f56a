/*
 * What is likely forgotten: files that are not taken and deserve a thought, by folder.
 *
 * Counted are: all that waits for a decision, lies in the recycle bin, or belongs to somebody who
 * was not asked for; in folders of programs, files of kinds that people make which changed after
 * they came there; among temporary files and caches, documents; among what installers left, large
 * installers. A file counts to the uppermost folder that it lies in of which nothing at all is
 * taken, but to none directly below a volume's root; where its own folder is not so, to that.
 */
#ifndef PLAN_FORGOTTEN_H
#define PLAN_FORGOTTEN_H

#include "plan/plan.h"

struct forgotten {
	uint32_t volume, folder; /* index in survey.volumes, node; NONE: files without a folder */
	enum reason reason;      /* why they are left */
	bool is_whole;           /* nothing of the folder is taken */
	uint64_t files, bytes;   /* streams of files */
	int64_t newest;          /* FILETIME of the last change of one of them */
};

struct forgotten_list {
	struct forgotten *items;
	size_t count, capacity;
};

/*
 * Largest first, and of sizes with as many decimal digits the most recent first. False when memory
 * runs out; forgotten_free() is needed in either case.
 */
bool forgotten_find(struct forgotten_list *list, const struct plan *plan);
void forgotten_free(struct forgotten_list *list);

/* Appends the folder's old path with the volume in front: "C:\$Recycle.Bin\S-1-5-21-...". */
void forgotten_path(const struct forgotten *forgotten, const struct plan *plan, struct buf *path);
/* The same for people: of a folder that was deleted, where it was. */
void forgotten_shown(const struct forgotten *forgotten, const struct plan *plan, struct buf *path);
/* What lies there, for people. */
const char *forgotten_words(const struct forgotten *forgotten);

#endif
