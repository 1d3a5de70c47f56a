/* The command `survey`: says whose PC it was and where everything is. */
#include "cmd/command.h"

#include "base/json.h"
#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "report/survey_text.h"
#include "system/survey.h"

#include <stdio.h>

static const char help[] =
    "usage: coldlift survey [options] SOURCE...\n\n"
    "Reads the drives or images named by SOURCE, without changing them, and says\n"
    "which old systems, persons, folders and programs are on them, and what to look\n"
    "out for. Name all drives of one PC together.\n\n"
    "  --json    one JSON document on standard output, text for people on standard\n"
    "            error\n"
    "  --quiet   no progress, no text for people\n"
    "  --help    this text\n\n"
    "Exit status: 0 complete, 2 wrong command line, 3 no readable volume, 5 anything\n"
    "else.\n";

static bool print_json(const struct survey *survey, struct error *error)
{
	struct buf out = {0};
	struct json json;
	bool failed;

	json_start(&json, &out, true);
	survey_to_json(survey, &json);
	buf_add_byte(&out, '\n');
	failed = out.failed;
	if (!failed)
		fwrite(out.data, 1, out.length, stdout);
	buf_free(&out);
	return !failed || error_no_memory(error);
}

static bool say(
    const struct survey *survey, const struct common_options *options, struct error *error)
{
	findings_sort(survey->findings);
	if (!options->quiet)
		survey_print(survey, options->json ? stderr : stdout);
	if (options->json && !print_json(survey, error))
		return false;
	if (fflush(stdout) != 0 || ferror(stdout))
		return error_set(error, STATUS_OTHER, "standard output cannot be written to");
	/* Better no survey than one that hides something. */
	return !survey->findings->incomplete || error_no_memory(error);
}

enum status command_survey(int argc, char **argv)
{
	struct common_options options = {0};
	struct findings findings;
	struct progress progress;
	struct survey survey;
	struct error error = {0};
	enum status status;
	sigset_t before;
	bool good;
	int first = command_options(argc, argv, help, &options, &status);

	if (first < 0)
		return status;
	if (first == argc) {
		error_set(&error, STATUS_USAGE,
		    "survey needs at least one SOURCE, a drive or an image file");
		command_complain(&error);
		return error.status;
	}
	findings_init(&findings);
	stop_hold(&before);
	progress_start(&progress, "Reading file tables", 0, options.quiet);
	good = survey_run(&survey, (const char *const *)argv + first, (size_t)(argc - first),
	    &progress, &findings, &error);
	progress_end(&progress);
	good = good && say(&survey, &options, &error);
	status = good ? STATUS_COMPLETE : error.status;
	if (!good)
		command_complain(&error);
	survey_free(&survey);
	stop_release(&before);
	findings_free(&findings);
	return status;
}
