/*
 * The job folder at the destination: its name, making it, and the mark that says "not complete".
 */
#ifndef EXTRACT_JOB_H
#define EXTRACT_JOB_H

#include "base/error.h"
#include "extract/durable.h"
#include "extract/journal.h"
#include "system/survey.h"

#include <stdbool.h>
#include <stdint.h>

#define JOB_JOURNAL "journal"
#define JOB_NAME_LIMIT 100 /* bytes: part names add person, place and endings to it */

struct job {
	char *name;
	char *folder;       /* path */
	int64_t started;    /* FILETIME; SOURCE_DATE_EPOCH when that is set */
	bool fixed_clock;   /* the time comes from SOURCE_DATE_EPOCH */
	struct journal journal;
};

/*
 * Is this a name that stays inside the destination and can stand on every file system? False with
 * *error (STATUS_USAGE).
 */
bool job_name_check(const char *name, struct error *error);

/* The clock of a job, a FILETIME: SOURCE_DATE_EPOCH (seconds since 1970) when set, else now. */
int64_t job_clock(bool *fixed);

/* "2026-07-01" by this machine's calendar (by UTC for a fixed clock). */
struct date_text {
	char text[16];
};
struct date_text job_date(int64_t clock, bool fixed);

/*
 * The usual name of a job about `subject` (a PC's name, a volume's label; "" is possible): that, the
 * date of `clock`, and for a `number` above 1 "-2". To be freed; NULL: no memory.
 */
char *job_name_make(const char *subject, int64_t clock, bool fixed, unsigned number);

/*
 * Makes the folder `to`/`name` (mode 0700; it must not exist) with a journal in it. NULL name: the
 * old PC's name, otherwise the first volume's label, and the date; with "-2", "-3"... when that is
 * taken. False with *error (STATUS_USAGE, STATUS_DESTINATION), nothing is left behind then.
 */
bool job_create(struct job *job, const char *to, const char *name, const struct survey *survey,
    struct error *error);

/*
 * Goes on with the unfinished job `folder`, called `name` and begun at `started`: what stands in
 * its journal behind `noted` bytes is cut off. False with *error (STATUS_DESTINATION), also when the
 * job is being worked on right now.
 */
bool job_resume(struct job *job, const char *folder, const char *name, int64_t started,
    bool fixed_clock, uint64_t noted, struct error *error);
/* Lets go of it: the journal is closed and stays. */
void job_free(struct job *job);

/* "FOLDER/NAME", to be freed; NULL: no memory. */
char *job_path(const struct job *job, const char *name);

/*
 * Takes the journal away: the job is complete. False with *error when that failed: the journal is
 * there still, or it is not certain that it stays away after a power cut, and comes back as it was.
 */
bool job_complete(struct job *job, struct error *error);

#endif
