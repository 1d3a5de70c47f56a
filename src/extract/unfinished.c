/* Finding the job to go on with: see unfinished.h. */
#include "extract/unfinished.h"

#include "extract/handover.h"
#include "extract/job.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Is there a plain file TO/NAME/FILE? */
static bool has_file(const char *to, const char *name, const char *file)
{
	struct stat info;
	char *path;
	bool there;

	if (asprintf(&path, "%s/%s/%s", to, name, file) < 0)
		return false;
	there = lstat(path, &info) == 0 && S_ISREG(info.st_mode);
	free(path);
	return there;
}

enum standing unfinished_standing(const char *to, const char *name)
{
	if (has_file(to, name, HANDOVER_NOTE))
		return STANDING_LEFT;
	if (has_file(to, name, JOB_JOURNAL))
		return STANDING_JOB;
	return has_file(to, name, JOB_JOURNAL UNFINISHED) ? STANDING_ARRIVING : STANDING_NONE;
}

bool unfinished_names(
    const char *to, enum standing standing, char *found[2], struct error *error)
{
	DIR *folder = opendir(to);
	const struct dirent *entry;
	size_t n = 0;

	found[0] = found[1] = NULL;
	if (folder == NULL)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the destination '%s' cannot be read", to);
	while (n < 2 && (entry = readdir(folder)) != NULL)
		if (entry->d_name[0] != '.' &&
		    unfinished_standing(to, entry->d_name) == standing &&
		    (found[n++] = strdup(entry->d_name)) == NULL)
			break;
	closedir(folder);
	return n == 0 || found[n - 1] != NULL || error_no_memory(error);
}

/* To be freed; NULL with *error. */
static char *only_one(const char *to, struct error *error)
{
	char *found[2];

	if (unfinished_names(to, STANDING_JOB, found, error)) {
		if (found[0] == NULL)
			error_set(error, STATUS_USAGE,
			    "there is no unfinished job in '%s' to go on with; without --resume a "
			    "new one is begun", to);
		else if (found[1] != NULL)
			error_set(error, STATUS_USAGE,
			    "there are several unfinished jobs in '%s'; say which with --name, "
			    "such as --name '%.100s' or --name '%.100s'",
			    to, found[0], found[1]);
		else
			return found[0];
	}
	free(found[0]);
	free(found[1]);
	return NULL;
}

static bool open_job(struct unfinished_job *job, const char *to, const char *name,
    struct error *error)
{
	const char *slash = to[strlen(to) - 1] == '/' ? "" : "/";
	char *journal;
	bool good;

	if (unfinished_standing(to, name) != STANDING_JOB)
		return error_set(error, STATUS_USAGE,
		    "'%s' in '%s' is no unfinished job to go on with; without --resume a new one "
		    "is begun", name, to);
	if (asprintf(&job->folder, "%s%s%s", to, slash, name) < 0) {
		job->folder = NULL;
		return error_no_memory(error);
	}
	if (asprintf(&journal, "%s/" JOB_JOURNAL, job->folder) < 0)
		return error_no_memory(error);
	good = head_read(&job->read, journal, error);
	free(journal);
	/* The names of its parts begin with the job's. */
	if (good && strcmp(job->read.head.name, name) != 0)
		good = error_set(error, STATUS_USAGE,
		    "the job in the folder '%s' is called '%.100s': give the folder that name again",
		    job->folder, job->read.head.name);
	return good;
}

bool unfinished_find(struct unfinished_job *job, const char *to, const char *name,
    struct error *error)
{
	char *found;
	bool good;

	*job = (struct unfinished_job){0};
	found = name != NULL ? strdup(name) : only_one(to, error);
	if (found == NULL)
		return name == NULL ? false : error_no_memory(error);
	good = open_job(job, to, found, error);
	free(found);
	return good;
}

void unfinished_free(struct unfinished_job *job)
{
	free(job->folder);
	free(job->came_from);
	head_read_free(&job->read);
	*job = (struct unfinished_job){0};
}
