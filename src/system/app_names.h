/*
 * What store apps are called, and who made them: in readable words, and where they come from.
 *
 * In this order: what a person's hive of classes has for the package, directly or as a resource
 * whose text the hive keeps; the manifest in the package's folder, where that is plain text; else
 * the package's own name, taken apart into words.
 *
 * Sources: "Package manifest schema reference" (Windows developer documentation: Properties,
 * DisplayName, PublisherDisplayName); the keys of the hive (AppModel\Repository, MrtCache): common
 * practice, no source.
 */
#ifndef SYSTEM_APP_NAMES_H
#define SYSTEM_APP_NAMES_H

#include "system/survey.h"

/* Sets name, publisher, name_from and place of store apps. False: no memory, or a stop was asked
 * for. */
bool app_names_find(struct survey *survey, struct old_system *system, struct error *error);

/* "LongAcre.RainNotes": "Rain Notes", and "LongAcre" as its publisher ("" when that is no name). In
 * `arena`. */
struct app_name {
	const char *name, *publisher; /* NULL: no memory */
};
struct app_name app_name_of_package(const char *package, struct arena *arena);

/* The text of an element of a package's manifest among its properties; NULL: not there. */
char *manifest_property(
    const uint8_t *data, size_t length, const char *element, struct arena *arena);

#endif
