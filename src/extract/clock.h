/*
 * Whether this computer's clock can be right. It is only read, never set.
 *
 * An old PC whose battery is empty starts in the year of its firmware. The files of a job keep the
 * times that they had on the old drive; but the job's own stamps follow the clock.
 */
#ifndef EXTRACT_CLOCK_H
#define EXTRACT_CLOCK_H

#include "base/finding.h"
#include "system/survey.h"

#include <stdint.h>

/*
 * Adds the note "clock-doubtful" when `now` (FILETIME) is before this version was released, more
 * than 15 years behind that, or more than a day before the old drives were last used by their own
 * stamps. The day is for time zones: a PC's clock mostly keeps local time, which nothing on the
 * live stick knows from UTC.
 */
void clock_check(int64_t now, const struct survey *survey, struct findings *findings);

/*
 * When the old drives were last in use, FILETIME; 0: not known. Of an old system, when it was shut
 * down or wrote its hive SYSTEM last; a volume without one is known by its root folder, whose stamp
 * changes when something is put there. Not the newest file: a single wrong stamp on a photo would
 * do. Stamps that no clock can have shown yet (more than 15 years behind the release) do not count.
 */
int64_t clock_last_used(const struct survey *survey);

#endif
