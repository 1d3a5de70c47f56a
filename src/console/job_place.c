/* Names at the destination: see job_place.h. */
#include "console/job_place.h"

#include "base/utf.h"
#include "console/apart.h"
#include "extract/job.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PATIENCE 60 /* seconds */
#define NUMBERS 1000u

struct question {
	const char *folder, *name;
};

static void numbered(char *out, size_t size, const char *name, unsigned number)
{
	if (number == 1)
		snprintf(out, size, "%s", name);
	else
		snprintf(out, size, "%s-%u", name, number);
}

/* Is `entry` the name with this number, or the log that belongs to it? */
static bool is_taken_by(const char *entry, const char *name)
{
	char log[300];

	snprintf(log, sizeof(log), "%s" JOB_LOG_END, name);
	return utf_equal_fold(entry, name) || utf_equal_fold(entry, log);
}

/* Marks every number whose name this entry takes: at most two, but all are tried. */
static void mark_taken(bool *taken, const char *entry, const char *name)
{
	char candidate[250];

	/* Nearly all entries are something else altogether. */
	if (!utf_starts_fold(entry, name))
		return;
	for (unsigned number = 1; number <= NUMBERS; number++) {
		numbered(candidate, sizeof(candidate), name, number);
		if (!taken[number] && is_taken_by(entry, candidate))
			taken[number] = true;
	}
}

static bool choose_apart(const void *about, struct buf *answer, struct error *error)
{
	const struct question *question = about;
	bool taken[NUMBERS + 1] = {false};
	struct dirent *entry;
	char name[250];
	DIR *folder = opendir(question->folder);

	if (folder == NULL)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "the destination cannot be read");
	while ((entry = readdir(folder)) != NULL)
		mark_taken(taken, entry->d_name, question->name);
	closedir(folder);
	for (unsigned number = 1; number <= NUMBERS; number++) {
		if (taken[number])
			continue;
		numbered(name, sizeof(name), question->name, number);
		buf_add_text(answer, name);
		return true;
	}
	return error_set(error, STATUS_DESTINATION,
	    "every name for a job is taken on the destination; give it another name");
}

bool job_place_choose(
    const char *folder, const char *name, struct job_place *place, struct error *error)
{
	struct question question = {folder, name};
	struct buf answer = {0};
	bool good = apart_run(choose_apart, &question, PATIENCE, &answer, NULL, error);

	*place = (struct job_place){0};
	snprintf(place->name, sizeof(place->name), "%s", buf_text(&answer));
	buf_free(&answer);
	return good;
}

static bool look_apart(const void *about, struct buf *answer, struct error *error)
{
	const struct question *question = about;
	char path[600];
	bool there[2];

	snprintf(path, sizeof(path), "%s/%s", question->folder, question->name);
	there[0] = access(path, F_OK) == 0;
	if (!there[0] && errno != ENOENT)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "the destination cannot be read");
	snprintf(path, sizeof(path), "%s/%s/" JOB_JOURNAL, question->folder, question->name);
	there[1] = access(path, F_OK) == 0;
	buf_add(answer, there, sizeof(there));
	return true;
}

bool job_place_look(const char *folder, struct job_place *place, struct error *error)
{
	struct question question = {folder, place->name};
	struct buf answer = {0};
	bool there[2] = {false, false};
	bool good = apart_run(look_apart, &question, PATIENCE, &answer, NULL, error);

	if (good && answer.length == sizeof(there))
		memcpy(there, answer.data, sizeof(there));
	place->folder_is_there = there[0];
	place->journal_is_there = there[1];
	buf_free(&answer);
	return good;
}
