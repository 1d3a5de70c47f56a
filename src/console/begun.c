/* Jobs that were begun on a volume: see begun.h. */
#include "console/begun.h"

#include "base/filetime.h"
#include "base/text.h"
#include "console/job_intro.h"
#include "console/target.h"
#include "extract/unfinished.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define PATIENCE 180         /* seconds: the journal of a large job has some hundred MB */
#define FOLDERS_LIMIT 20000u /* at the top of a volume; no more are looked into */

/* --- does a job agree with what is wanted? ----------------------------------------------------- */

static bool is_same_list(const char *const *texts, size_t count, const struct order_list *list)
{
	if (count != list->count)
		return false;
	for (size_t i = 0; i < count; i++)
		if (strcmp(texts[i], list->items[i]) != 0)
			return false;
	return true;
}

/* NAME itself, or NAME-2, NAME-3 ... */
static bool is_of_name(const char *job, const char *name)
{
	size_t length = strlen(name);

	if (strncmp(job, name, length) != 0)
		return false;
	job += length;
	return *job == '\0' ||
	       (*job == '-' && job[1] != '\0' && job[1 + strspn(job + 1, "0123456789")] == '\0');
}

static bool is_same_form(const struct head *head, const struct order *order)
{
	enum format format = FORMAT_ZIP;
	enum same_choice same = order->same == NULL		   ? SAME_USUAL :
				strcmp(order->same, "once") == 0 ? SAME_ONCE :
								     SAME_EACH;
	uint64_t limit = 0;

	if (order->format != NULL && !format_from_name(order->format, &format))
		return false;
	if (order->part_size != NULL && !text_to_size(order->part_size, &limit))
		return false;
	return head->format == format && head->same == same && head->part_limit == limit;
}

static bool is_ordered(const struct head *head, const struct order *order)
{
	const struct plan_options *choices = &head->choices;

	return is_same_form(head, order) && !head->careful && !head->licence_keys &&
	       (order->name == NULL || is_of_name(head->name, order->name)) &&
	       is_same_list(choices->persons, choices->n_persons, &order->persons) &&
	       is_same_list(choices->takes, choices->n_takes, &order->takes) &&
	       is_same_list(choices->leaves, choices->n_leaves, &order->leaves);
}

/* Only `extract` itself can tell whether a drive is the same; one of another size never is. */
static bool has_drive_of(const struct begun_wish *wish, uint64_t size)
{
	for (size_t i = 0; i < wish->look->n_drives; i++) {
		const struct look_drive *drive = &wish->look->drives[i];

		if (drive != wish->target && !drive->stick && drive->size == size)
			return true;
	}
	return false;
}

static bool may_be_here(const struct head *head, const struct begun_wish *wish)
{
	for (size_t i = 0; i < head->n_sources; i++)
		if (!has_drive_of(wish, head->sources[i].size))
			return false;
	return true;
}

/* --- one job ----------------------------------------------------------------------------------- */

/* Cuts between characters. */
static void copy_beginning(char *out, size_t size, const char *text)
{
	size_t length = strlen(text);

	if (length >= size) {
		length = size - sizeof("...");
		while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
			length--;
	}
	snprintf(out, size, "%.*s%s", (int)length, text, text[length] != '\0' ? "..." : "");
}

static void describe(struct begun_job *job, const struct head *head)
{
	const struct plan_options *choices = &head->choices;
	struct order order = {.format = format_name(head->format)};
	struct buf text = {0};
	struct tm tm;
	uint32_t nanoseconds;
	int64_t seconds;
	time_t when;

	order.persons = (struct order_list){(const char **)choices->persons, choices->n_persons};
	order.takes = (struct order_list){(const char **)choices->takes, choices->n_takes};
	order.leaves = (struct order_list){(const char **)choices->leaves, choices->n_leaves};
	job_intro_order(&text, &order);
	copy_beginning(job->what, sizeof(job->what), buf_text(&text));
	buf_free(&text);
	filetime_to_unix(head->started, &seconds, &nanoseconds);
	when = (time_t)seconds;
	if (localtime_r(&when, &tm) != NULL)
		strftime(job->when, sizeof(job->when), "%Y-%m-%d %H:%M", &tm);
}

/* Without what follows: advice for a command line. */
static void explain(struct begun_job *job, struct error *error)
{
	static const char *const further[] = {";", " and can only go on"};

	for (size_t i = 0; i < sizeof(further) / sizeof(further[0]); i++) {
		char *at = strstr(error->text, further[i]);

		if (at != NULL)
			*at = '\0';
	}
	copy_beginning(job->problem, sizeof(job->problem), error->text);
}

/* The folder `name` has a journal. False: it is none of ours. */
static bool read_job(const char *journal, const char *name, const struct begun_wish *wish,
    struct begun_job *job)
{
	struct head_read read;
	struct error error = {0};
	bool good = head_read(&read, journal, &error);

	*job = (struct begun_job){.stored = read.stored, .started = read.head.started};
	copy_beginning(job->name, sizeof(job->name), name);
	if (good && strcmp(read.head.name, name) != 0)
		good = error_set(&error, STATUS_USAGE,
		    "its folder was given another name than '%.100s'", read.head.name);
	if (good) {
		describe(job, &read.head);
		job->is_ordered = wish->order == NULL || is_ordered(&read.head, wish->order);
		job->has_left = read.n_earlier > 0;
		job->may_be_here = wish->look == NULL || may_be_here(&read.head, wish);
	} else {
		explain(job, &error);
	}
	/* A file of that name without any line of ours is somebody else's. */
	good = good || read.head.program != NULL;
	head_read_free(&read);
	return good;
}

/* Keeps the ones that were begun last, in that order. */
static void keep(struct begun_jobs *jobs, const struct begun_job *job)
{
	size_t at = 0;

	while (at < jobs->count && jobs->items[at].started >= job->started)
		at++;
	if (jobs->count == BEGUN_MAX) {
		jobs->more = true;
		if (at == BEGUN_MAX)
			return;
		jobs->count--;
	}
	memmove(&jobs->items[at + 1], &jobs->items[at], (jobs->count - at) * sizeof(*job));
	jobs->items[at] = *job;
	jobs->count++;
}

bool begun_read(const char *folder, const struct begun_wish *wish, struct begun_jobs *jobs,
    struct error *error)
{
	DIR *top = opendir(folder);
	const struct dirent *entry;

	*jobs = (struct begun_jobs){0};
	if (top == NULL)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "the destination cannot be read");
	for (unsigned i = 0; i < FOLDERS_LIMIT && (entry = readdir(top)) != NULL; i++) {
		struct begun_job job;
		struct error why;
		char *journal;

		if (!job_name_check(entry->d_name, &why) ||
		    unfinished_standing(folder, entry->d_name) != STANDING_JOB ||
		    asprintf(&journal, "%s/%s/" JOB_JOURNAL, folder, entry->d_name) < 0)
			continue;
		if (read_job(journal, entry->d_name, wish, &job))
			keep(jobs, &job);
		free(journal);
	}
	closedir(top);
	return true;
}

bool begun_is_meant(const struct begun_job *job)
{
	return *job->problem == '\0' && job->is_ordered && job->may_be_here;
}

/* --- on a volume ------------------------------------------------------------------------------- */

struct question {
	const struct look_volume *volume;
	const struct begun_wish *wish;
};

/*
 * Source: Linux kernel documentation, filesystems/ext4/super.rst: s_magic, and in
 * s_feature_incompat "needs recovery" (INCOMPAT_RECOVER).
 */
static bool needs_replay(const struct look_volume *volume)
{
	enum { AT = 1024, MAGIC = 0x38, INCOMPAT = 0x60, RECOVER = 4 };
	unsigned char block[1024];
	int fd = open(volume->device, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	bool got = fd >= 0 && pread(fd, block, sizeof(block), AT) == (ssize_t)sizeof(block);

	if (fd >= 0)
		close(fd);
	return got && strcmp(volume->filesystem, "ext") == 0 && block[MAGIC] == 0x53 &&
	       block[MAGIC + 1] == 0xEF && (block[INCOMPAT] & RECOVER) != 0;
}

static bool look_inside(
    const void *about, const char *folder, struct buf *answer, struct error *error)
{
	const struct question *question = about;
	struct begun_jobs *jobs = malloc(sizeof(*jobs));
	bool good;

	if (jobs == NULL)
		return error_no_memory(error);
	good = begun_read(folder, question->wish, jobs, error);
	jobs->stale = needs_replay(question->volume);
	buf_add(answer, jobs, sizeof(*jobs));
	free(jobs);
	return good;
}

bool begun_find(const struct look_volume *volume, const struct begun_wish *wish,
    struct begun_jobs *jobs, struct error *error)
{
	struct question question = {volume, wish};
	struct buf answer = {0};
	bool good = target_look(volume, look_inside, &question, PATIENCE, &answer, error);

	*jobs = (struct begun_jobs){0};
	if (good && answer.length == sizeof(*jobs))
		memcpy(jobs, answer.data, sizeof(*jobs));
	buf_free(&answer);
	return good;
}
