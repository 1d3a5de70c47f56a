/* The command `survey`: says whose PC it was and where everything is. */
#include "cmd/command.h"

#include "base/json.h"
#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "report/survey_text.h"
#include "system/survey.h"

#include <getopt.h>
#include <stdio.h>
#include <string.h>

static void print_help(void)
{
	puts("usage: coldlift survey [--json] [--quiet] SOURCE...\n\n"
	     "Reads the drives or images named by SOURCE, without changing them, and says which "
	     "old\n"
	     "systems, persons, folders and programs are on them, and what to look out for.\n\n"
	     "  --json   one JSON document on standard output, text for people on standard error\n"
	     "  --quiet  no progress, no text for people\n"
	     "  --help   this text\n\n"
	     "Exit status: 0 complete, 2 wrong command line, 3 no readable volume, 5 anything "
	     "else.");
}

/* False: stop with *status. */
static bool parse(int argc, char **argv, struct common_options *options, enum status *status)
{
	static const struct option known[] = {{"json", no_argument, NULL, 'j'},
	    {"quiet", no_argument, NULL, 'q'}, {"help", no_argument, NULL, 'h'},
	    {NULL, 0, NULL, 0}};
	struct error error;
	int option;

	*status = STATUS_USAGE;
	optind = 1;
	while ((option = getopt_long(argc, argv, "", known, NULL)) != -1) {
		switch (option) {
		case 'j':
			options->json = true;
			break;
		case 'q':
			options->quiet = true;
			break;
		case 'h':
			print_help();
			*status = STATUS_COMPLETE;
			return false;
		default:
			return false;
		}
	}
	if (optind < argc)
		return true;
	error_set(
	    &error, STATUS_USAGE, "survey needs at least one SOURCE, a drive or an image file");
	command_complain(&error);
	return false;
}

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

	if (!parse(argc, argv, &options, &status))
		return status;
	findings_init(&findings);
	stop_hold(&before);
	progress_start(&progress, "Reading file tables", 0, options.quiet);
	good = survey_run(&survey, (const char *const *)argv + optind, (size_t)(argc - optind),
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
