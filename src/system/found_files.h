/*
 * What a file check of the old system set aside: \FOUND.000\FILE0000.CHK, pieces whose files were
 * lost, and \FOUND.000\DIR0000.CHK, folders whose place was lost. (Common practice, no source.)
 */
#ifndef SYSTEM_FOUND_FILES_H
#define SYSTEM_FOUND_FILES_H

#include "system/survey.h"

/*
 * Fills survey.found. What a piece begins like is looked at, in the order of their places on the
 * drive, unless the drive is failing; nothing of what is taken depends on that. Gives a finding for
 * each volume that has some. False with *error when memory runs out or a stop is asked for.
 */
bool found_files_read(struct survey *survey, struct error *error);

/* found-files.json: an array with one object for each piece and each folder. */
struct json;
void found_files_to_json(const struct survey *survey, struct json *json);

#endif
