/*
 * Which program opens a kind of file when a person opens one.
 *
 * For each extension of which the person opened a file (Explorer\FileExts): what the person chose,
 * what was last used of what the old system offers, or what is set for the whole machine.
 *
 * Sources: "File Types" and "Application Registration" (Windows developer documentation: keys of
 * extensions and program identifiers, shell\open\command, Applications, App Paths); winreg-kb,
 * "File extensions" for UserChoice and OpenWithList.
 */
#ifndef SYSTEM_OPENERS_H
#define SYSTEM_OPENERS_H

#include "system/survey.h"

/* Counts a document that the person opened at `used` (FILETIME), if its kind has an opener. */
void openers_count(struct old_system *system, size_t person, const char *document, int64_t used);

/*
 * The program that a command line starts: what stands in quotes, or everything up to ".exe".
 * In `arena`; NULL when it names none.
 */
char *command_program(const char *command, struct arena *arena);

#endif
