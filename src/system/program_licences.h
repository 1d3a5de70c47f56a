/*
 * Serial numbers and licence files of programs: what a person needs to install a program afresh,
 * and seldom finds again.
 *
 * Only where they are is kept. What a value in the registry says is read again when the owner asks
 * for it.
 *
 * How such values and files are called, and that programs keep settings below
 * SOFTWARE\<publisher>\<program>: common practice, no source.
 */
#ifndef SYSTEM_PROGRAM_LICENCES_H
#define SYSTEM_PROGRAM_LICENCES_H

#include "system/survey.h"

struct hive;

/* Is it, by its name and size, the file of a licence? Texts with agreements are none. */
bool licence_file_is(const char *name, uint64_t size);

/* A value that looks like a serial number: `path` of its key from the hive's root, and its text. */
typedef void licence_value_taker(
    void *context, const char *path, const char *name, const char *text);
/* Calls `take` for each in a hive's keys of programs; `root`: "" for SOFTWARE, "Software" for a
 * person's. */
void licence_values_walk(
    const struct hive *hive, const char *root, licence_value_taker *take, void *context);

/*
 * Finds the licence files of the old system's programs, and ties files and values to them. False
 * when memory runs out.
 */
bool program_licences_find(struct survey *survey, struct old_system *system);

/*
 * Reads the hives once more, and calls `take` for each value with its text; person: SIZE_MAX for
 * the machine's hive.
 */
typedef void licence_text_taker(void *context, size_t person, const char *where, const char *text);
void program_licences_read(const struct survey *survey, const struct old_system *system,
    licence_text_taker *take, void *context);

#endif
