/*
 * Shortcuts to programs: pinned ones, those on desktops and in start menus.
 */
#ifndef SYSTEM_SHORTCUTS_H
#define SYSTEM_SHORTCUTS_H

#include "system/shell_link.h"
#include "system/survey.h"

struct shortcuts {
	struct shortcut *items;
	size_t count, capacity;
	bool failed; /* memory ran out */
};

/* Where shortcuts of one old system lie. */
typedef void shortcut_folder(
    void *context, struct location folder, size_t person, enum shortcut_kind kind, unsigned depth);
/* Calls `take` for each such folder; depth: how many folders below count, too. */
void shortcut_folders(const struct survey *survey, const struct old_system *system,
    shortcut_folder *take, void *context);

/* Keeps the shortcut if it leads to a program; texts in the survey's arena. */
void shortcuts_add(struct shortcuts *shortcuts, struct survey *survey, enum shortcut_kind kind,
    size_t person, struct location at, const struct shell_link *link);
/* Hands them over to the old system. False: no memory. Frees them in either case. */
bool shortcuts_keep(struct shortcuts *shortcuts, struct survey *survey, struct old_system *system);

#endif
