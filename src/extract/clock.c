/* Whether this computer's clock can be right: see clock.h. */
#include "extract/clock.h"

#include "base/filetime.h"

#include <stdio.h>

/* When this version was released, at the earliest: 2026-11-01. To be moved on with the version. */
#define RELEASED (FILETIME_UNIX_EPOCH + INT64_C(1793491200) * FILETIME_PER_SECOND)

#define DAY (INT64_C(86400) * FILETIME_PER_SECOND)
#define FAR (15 * 365 * DAY)

struct moment {
	char text[24];
};

/* "2026-11-25 07:01 UTC": nobody needs more of it. */
static struct moment moment_text(int64_t time)
{
	struct filetime_text full = filetime_to_text(time);
	struct moment moment = {"an impossible time"};

	if (full.text[0] != '\0')
		snprintf(
		    moment.text, sizeof(moment.text), "%.10s %.5s UTC", full.text, full.text + 11);
	return moment;
}

static void take_latest(int64_t *latest, int64_t time)
{
	if (time > *latest && time <= RELEASED + FAR)
		*latest = time;
}

int64_t clock_last_used(const struct survey *survey)
{
	int64_t latest = 0;

	for (size_t i = 0; i < survey->n_systems; i++)
		take_latest(&latest, survey->systems[i].last_used);
	for (size_t i = 0; i < survey->n_volumes; i++) {
		const struct volume *volume = survey->volumes[i].volume;
		const struct catalogue *catalogue = volume == NULL ? NULL : volume->catalogue;

		if (catalogue != NULL && catalogue->n_nodes > NODE_ROOT &&
		    (catalogue->nodes[NODE_ROOT].flags & NODE_IN_USE) != 0)
			take_latest(&latest, catalogue->nodes[NODE_ROOT].modified);
	}
	return latest;
}

void clock_check(int64_t now, const struct survey *survey, struct findings *findings)
{
	static const char advice[] =
	    "Files keep the times that they had on the old drive. The date in the job's name, and "
	    "the times at which the job says it was made, follow this clock: take them with care.";
	int64_t last_used = clock_last_used(survey);

	if (now < RELEASED)
		findings_add(findings, WEIGHT_NOTE, "clock-doubtful", "", advice,
		    "This computer's clock cannot be right: it says %s, and this program was not "
		    "there before %.10s.",
		    moment_text(now).text, moment_text(RELEASED).text);
	else if (now > RELEASED + FAR)
		findings_add(findings, WEIGHT_NOTE, "clock-doubtful", "", advice,
		    "This computer's clock is probably wrong: it says %s, and this program is of "
		    "%.4s.",
		    moment_text(now).text, moment_text(RELEASED).text);
	if (now >= RELEASED && last_used > 0 && now < last_used - DAY)
		findings_add(findings, WEIGHT_NOTE, "clock-doubtful", "", advice,
		    "This computer's clock says %s, but the old drives were in use at %s by their "
		    "own stamps: one of the two clocks was wrong.",
		    moment_text(now).text, moment_text(last_used).text);
}
