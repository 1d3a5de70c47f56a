/* The job folder: see job.h. */
#include "extract/job.h"

#include "base/filetime.h"
#include "base/utf.h"
#include "plan/names.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define TRIES 1000 /* names with a number behind them */

bool job_name_check(const char *name, struct error *error)
{
	struct buf mapped = {0};
	bool good = true;

	if (name[0] == '\0')
		return error_set(error, STATUS_USAGE, "the job's name is empty");
	if (strlen(name) > JOB_NAME_LIMIT)
		return error_set(error, STATUS_USAGE, "the job's name is longer than %d bytes",
		    JOB_NAME_LIMIT);
	if (strpbrk(name, "/\\") != NULL || name[0] == '.')
		return error_set(error, STATUS_USAGE,
		    "'%s' is no name for a job: it must be a plain name, without slashes and "
		    "without a dot in front", name);
	if (name[0] == '-')
		return error_set(error, STATUS_USAGE,
		    "'%s' is no name for a job: other commands would take it for an option", name);
	name_map(&mapped, name);
	if (!utf_is_clean(name) || mapped.failed || strcmp(buf_text(&mapped), name) != 0)
		good = error_set(error, STATUS_USAGE,
		    "'%s' is no name for a job: some systems could not store it", name);
	buf_free(&mapped);
	return good;
}

int64_t job_clock(bool *fixed)
{
	const char *epoch = getenv("SOURCE_DATE_EPOCH");
	char *end;
	struct timespec now;

	*fixed = false;
	if (epoch != NULL && *epoch >= '0' && *epoch <= '9') {
		long long seconds;

		errno = 0;
		seconds = strtoll(epoch, &end, 10);
		if (errno == 0 && *end == '\0' && seconds < INT64_C(253402300800)) {
			*fixed = true;
			return filetime_from_unix(seconds, 0);
		}
	}
	clock_gettime(CLOCK_REALTIME, &now);
	return filetime_from_unix(now.tv_sec, 0);
}

struct date_text job_date(int64_t clock, bool fixed)
{
	struct date_text result = {"1970-01-01"};
	int64_t seconds;
	uint32_t nanoseconds;
	time_t time;
	struct tm tm;

	filetime_to_unix(clock, &seconds, &nanoseconds);
	time = (time_t)seconds;
	if ((fixed ? gmtime_r(&time, &tm) : localtime_r(&time, &tm)) != NULL)
		strftime(result.text, sizeof(result.text), "%Y-%m-%d", &tm);
	return result;
}

/* What the job is about, in one word. */
static const char *subject(const struct survey *survey)
{
	for (size_t i = 0; i < survey->n_systems; i++)
		if (survey->systems[i].computer[0] != '\0')
			return survey->systems[i].computer;
	for (size_t i = 0; i < survey->n_volumes; i++) {
		const struct volume *volume = survey->volumes[i].volume;

		if (volume != NULL && volume->label[0] != '\0')
			return volume->label;
	}
	return "old-drive";
}

/* Letters, digits and what is harmless between them; anything else becomes a hyphen. */
static void add_tame(struct buf *out, const char *text)
{
	const char *end = text + strlen(text);

	while (text < end && out->length < JOB_NAME_LIMIT - 24) {
		uint32_t point = utf_next(&text, end);
		bool tame = point >= 0xC0 ? point < 0x2000 || (point > 0x206F && point < 0xD800) :
		    (point >= '0' && point <= '9') || (point >= 'A' && point <= 'Z') ||
			(point >= 'a' && point <= 'z') || point == '_' ||
			(point == '.' && out->length > 0);

		if (tame)
			utf_add(out, point);
		else if (out->length > 0 && out->data[out->length - 1] != '-')
			buf_add_byte(out, '-');
	}
}

char *job_name_make(const char *subject, int64_t clock, bool fixed, unsigned number)
{
	struct buf name = {0};

	add_tame(&name, subject);
	buf_printf(&name, "%s%s",
	    name.length == 0 || name.data[name.length - 1] == '-' ? "" : "-",
	    job_date(clock, fixed).text);
	if (number > 1)
		buf_printf(&name, "-%u", number);
	if (name.failed) {
		buf_free(&name);
		return NULL;
	}
	return (char *)name.data; /* ends with a NUL, and can be given to free() */
}

char *job_path(const struct job *job, const char *name)
{
	char *path;

	return asprintf(&path, "%s/%s", job->folder, name) < 0 ? NULL : path;
}

static bool begin_journal(struct job *job, struct error *error)
{
	struct buf text = {0};
	char *path = job_path(job, JOB_JOURNAL);
	bool good;

	buf_printf(&text,
	    "# This job is not complete.\n"
	    "#\n"
	    "# coldlift started it at %s. As long as this file is here, some\n"
	    "# of the files of the old drive are missing, or nothing has been proven. Parts\n"
	    "# whose name ends in %s are cut off. Keep the old drive. To go on where the\n"
	    "# job was cut off, give the same command again with --resume, or shorter:\n"
	    "#     coldlift extract --resume --to FOLDER --name '%s' SOURCE...\n"
	    "# What follows is for coldlift.\n",
	    filetime_to_text(job->started).text, UNFINISHED, job->name);
	good = path != NULL ? journal_create(&job->journal, path, &text, error) :
			      error_no_memory(error);
	free(path);
	buf_free(&text);
	return good;
}

/* Makes the folder under the given name. EEXIST is for the caller to judge. */
static int make_folder(struct job *job, const char *to)
{
	const char *slash = to[strlen(to) - 1] == '/' ? "" : "/";

	free(job->folder);
	if (asprintf(&job->folder, "%s%s%s", to, slash, job->name) < 0) {
		job->folder = NULL;
		return ENOMEM;
	}
	return mkdir(job->folder, 0700) == 0 ? 0 : errno;
}

static bool choose_folder(struct job *job, const char *to, const char *name,
    const struct survey *survey, struct error *error)
{
	int failure = EEXIST;

	for (unsigned number = 1; failure == EEXIST && number <= TRIES; number++) {
		free(job->name);
		job->name = name != NULL ? strdup(name) :
		    job_name_make(subject(survey), job->started, job->fixed_clock, number);
		if (job->name == NULL)
			return error_no_memory(error);
		failure = make_folder(job, to);
		if (failure == EEXIST && name != NULL)
			return error_set(error, STATUS_DESTINATION,
			    "'%s' is there already; choose another --name", job->folder);
	}
	if (failure == ENOMEM)
		return error_no_memory(error);
	return failure == 0 || durable_failed(error, failure, job->folder);
}

bool job_create(struct job *job, const char *to, const char *name, const struct survey *survey,
    struct error *error)
{
	*job = (struct job){.journal = {.fd = -1}};
	job->started = job_clock(&job->fixed_clock);
	if ((name != NULL && !job_name_check(name, error)) ||
	    !choose_folder(job, to, name, survey, error)) {
		job_free(job);
		return false;
	}
	/* Whatever the umask was; some file systems have no modes. */
	(void)chmod(job->folder, 0700);
	if (!durable_sync_folder(job->folder, error) || !begin_journal(job, error)) {
		char *journal = job_path(job, JOB_JOURNAL);

		if (journal != NULL)
			unlink(journal);
		free(journal);
		rmdir(job->folder);
		job_free(job);
		return false;
	}
	return true;
}

bool job_resume(struct job *job, const char *folder, const char *name, int64_t started,
    bool fixed_clock, uint64_t noted, struct error *error)
{
	char *path;
	bool good;

	*job = (struct job){.started = started, .fixed_clock = fixed_clock,
	    .journal = {.fd = -1}, .name = strdup(name), .folder = strdup(folder)};
	path = job->name == NULL || job->folder == NULL ? NULL : job_path(job, JOB_JOURNAL);
	good = path != NULL ? journal_open(&job->journal, path, noted, error) :
			      error_no_memory(error);
	free(path);
	if (!good)
		job_free(job);
	return good;
}

void job_free(struct job *job)
{
	journal_close(&job->journal);
	free(job->name);
	free(job->folder);
	*job = (struct job){.journal = {.fd = -1}};
}

bool job_complete(struct job *job, struct error *error)
{
	char *path = job_path(job, JOB_JOURNAL);
	bool good;

	if (path == NULL)
		return error_no_memory(error);
	/* Some file systems only rename what is removed while it is open. */
	journal_close(&job->journal);
	if (unlink(path) != 0) {
		good = durable_failed(error, errno, path);
	} else {
		/*
		 * Everything else was made to last before. Should the journal come back, it is as
		 * it was, and the job can be gone on with.
		 */
		good = durable_sync_folder(path, error);
		if (!good)
			error_set(error, STATUS_DESTINATION,
			    "everything is written, but the destination failed at the very last "
			    "step; plug it in again and prove the job '%s' with coldlift verify",
			    job->folder);
	}
	free(path);
	return good;
}
