/*
 * What the start screen says: drives, old systems, findings, help, as lines for a terminal.
 *
 * Every function prints lines of at most `width` columns; what comes from a drive is escaped.
 */
#ifndef CONSOLE_START_SCREEN_H
#define CONSOLE_START_SCREEN_H

#include "console/look.h"
#include "console/power.h"

#include <stdio.h>

struct page {
	FILE *out;
	unsigned width;
};

/* A paragraph: its first line begins at `indent`, the others at `hang`. Escaped. */
void page_line(const struct page *page, unsigned indent, unsigned hang, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* What stands there before any drive is read. */
void start_title(const struct page *page);
void start_power(const struct page *page, const struct power *power);

/*
 * The drives; `stick` names those that coldlift was started from, one a line ("sdb\n"), as
 * /run/coldlift/stick does.
 */
void start_drives(const struct page *page, const struct look *look, const char *stick);

/* "Loss: C: ...", from the column `indent` on. */
void start_finding(const struct page *page, unsigned indent, const struct finding *finding);

/* Old systems and persons, and the gravest of what is wrong. */
void start_systems(const struct page *page, const struct look *look);

/* Everything that was found, losses first. */
void start_findings(const struct page *page, const struct look *look);

void start_next_step(
    const struct page *page, const struct look *look, const struct power *power, bool done);
void start_menu(const struct page *page);

/* The lines of a list, in two columns where there is room, the first half on the left. */
void start_columns(const struct page *page, const char *list);

/* When a PC refuses the stick, or a drive is missing. */
void start_help(const struct page *page);

#endif
