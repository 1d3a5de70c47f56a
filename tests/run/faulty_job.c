/*
 * A whole extraction off a drive that fails as a script says: the source is the test device.
 *
 * usage: faulty_job IMAGE SCRIPT TO FORMAT [careful] [patience=MILLISECONDS] [slow=MILLISECONDS]
 *                   [part=BYTES] [each] [resume]
 *
 * slow: how long a request must take to count as very long. resume: go on with the unfinished job.
 *
 * SCRIPT: a file, see disk/device.h. Makes the job TO/job and prints a line of JSON: exit status,
 * and what the device counted. Linked so that the program's own device_open() is replaced by the
 * one below (ld --wrap).
 */
#include "base/locale.h"
#include "disk/source.h"
#include "extract/extract.h"
#include "extract/interrupt.h"
#include "extract/unfinished.h"
#include "plan/plan.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct device *__wrap_device_open(const char *path, struct error *error);

static char script[65536];

struct device *__wrap_device_open(const char *path, struct error *error)
{
	return device_open_test(path, script, error);
}

static bool read_script(const char *path)
{
	FILE *file = fopen(path, "r");
	size_t length;

	if (file == NULL)
		return false;
	length = fread(script, 1, sizeof(script) - 1, file);
	script[length] = '\0';
	fclose(file);
	return length < sizeof(script) - 1;
}

/* What the program's own options do not say. */
struct more {
	unsigned slow; /* milliseconds; 0: as usual */
	uint64_t patience; /* milliseconds; 0: no end */
	bool resume;
	struct unfinished_job job;
	struct stores stores;
};

static bool extract(struct extraction *extraction, const struct plan *plan,
    const struct extract_options *options, struct more *more, struct findings *findings,
    struct error *error)
{
	if (!more->resume)
		return extract_run(extraction, plan, options, findings, error);
	return extract_resume(extraction, plan, &more->job, options, findings, error);
}

/* As the command `extract` does it. */
static bool survey_drive(struct survey *survey, const char *image,
    struct extract_options *options, struct more *more, struct findings *findings,
    struct error *error)
{
	const char *const paths[] = {image};
	const struct survey_way way = {
	    .unasked = true, .opened = stores_open, .context = &more->stores};
	struct stores_options how = {.to = options->to, .careful = options->careful,
	    .patience = more->patience};

	if (more->resume && !unfinished_find(&more->job, options->to, options->name, error))
		return false;
	if (more->resume) {
		how.job = more->job.folder;
		how.careful = more->job.read.head.careful;
	}
	stores_start(&more->stores, &how);
	options->stores = &more->stores;
	return survey_run_with(survey, paths, 1, &way, NULL, findings, error);
}

static enum status run(const char *image, struct extract_options *options, struct more *more,
    struct error *error)
{
	struct findings findings;
	struct survey survey = {0};
	struct plan plan = {0};
	struct extraction extraction = {.job.journal.fd = -1};
	struct plan_options choices = {0};
	enum status status = STATUS_OTHER;

	findings_init(&findings);
	options->choices = &choices;
	if (survey_drive(&survey, image, options, more, &findings, error) &&
	    plan_make(&plan, &survey, &choices, &findings, error)) {
		if (more->slow != 0)
			source_set_slow(survey.drives[0].source, more->slow);
		status = extract(&extraction, &plan, options, more, &findings, error) ?
		    extraction_status(&extraction, &findings) : error->status;
		extraction_free(&extraction);
	} else {
		status = error->status;
	}
	if (survey.n_drives > 0 && survey.drives[0].source != NULL) {
		struct device_counts counts =
		    device_test_counts(source_device(survey.drives[0].source));

		printf("{\"status\":%d,\"reads\":%" PRIu64 ",\"failures\":%" PRIu64
		       ",\"most_asked\":%" PRIu64 ",\"again\":%" PRIu64 ",\"again_since\":%" PRIu64
		       "}\n", (int)status, counts.reads, counts.failures, counts.most_asked,
		    counts.again, counts.again_since);
	}
	plan_free(&plan);
	survey_free(&survey);
	stores_end(&more->stores);
	unfinished_free(&more->job);
	findings_free(&findings);
	return status;
}

int main(int argc, char **argv)
{
	struct extract_options options = {.name = "job", .quiet = true};
	struct more more = {0};
	struct error error = {0};
	enum status status;

	if (argc < 5 || !read_script(argv[2]) || !format_from_name(argv[4], &options.format))
		return 2;
	locale_use_utf8(&error);
	interrupt_watch();
	options.to = argv[3];
	for (int i = 5; i < argc; i++) {
		if (strcmp(argv[i], "careful") == 0)
			options.careful = true;
		else if (strncmp(argv[i], "patience=", 9) == 0)
			more.patience = strtoull(argv[i] + 9, NULL, 10);
		else if (strncmp(argv[i], "slow=", 5) == 0)
			more.slow = (unsigned)strtoul(argv[i] + 5, NULL, 10);
		else if (strncmp(argv[i], "part=", 5) == 0)
			options.part_limit = strtoull(argv[i] + 5, NULL, 10);
		else if (strcmp(argv[i], "each") == 0)
			options.same = SAME_EACH;
		else if (strcmp(argv[i], "resume") == 0)
			more.resume = true;
	}
	status = run(argv[1], &options, &more, &error);
	if (error.status != 0)
		fprintf(stderr, "faulty_job: %s\n", error.text);
	return (int)status;
}
