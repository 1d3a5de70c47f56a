/* The command `survey`: says whose PC it was and where everything is. */
#include "cmd/command.h"
#include "cmd/sources.h"

#include "base/json.h"
#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "disk/controllers.h"
#include "report/survey_text.h"
#include "system/survey.h"
#include "system/found_files.h"
#include "system/recycle_bin.h"
#include "system/traces.h"

#include <stdio.h>

static const char help[] =
    "usage: coldlift survey [options] [SOURCE...]\n\n"
    "Reads the drives or images named by SOURCE, without changing them, and says\n"
    "which old systems, persons, folders and programs are on them, and what to look\n"
    "out for. Name all drives of one PC together. On the live stick, and only there,\n"
    "no SOURCE means every drive but the stick.\n\n"
    "  --not DRIVE  leave this drive out where no SOURCE is named; can be repeated\n"
    "  --json       one JSON document on standard output, text for people on standard\n"
    "               error\n"
    "  --quiet      no progress, no text for people\n"
    "  --no-text    progress, but no text for people\n"
    "  --help       this text\n\n"
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
	if (!options->quiet && !options->no_text)
		survey_print(survey, options->json ? stderr : stdout);
	if (options->json && !print_json(survey, error))
		return false;
	if (fflush(stdout) != 0 || ferror(stdout))
		return error_set(error, STATUS_OTHER, "standard output cannot be written to");
	/* Better no survey than one that hides something. */
	return !survey->findings->incomplete || error_no_memory(error);
}

static bool survey_sources(const struct sources *sources, const struct common_options *options,
    struct error *error)
{
	struct findings findings;
	struct progress progress;
	struct survey survey;
	sigset_t before;
	bool good;

	findings_init(&findings);
	stop_hold(&before);
	progress_start(&progress, "Reading file tables", 0, options->quiet);
	if (sources->chosen)
		controllers_look("", &findings);
	good = (sources->chosen ? survey_run_chosen : survey_run)(
	    &survey, sources->paths, sources->count, &progress, &findings, error);
	progress_end(&progress);
	if (good) {
		progress_start(&progress, "Reading traces of programs", 0, options->quiet);
		good = traces_read(&survey, error) && recycle_bins_read(&survey, error) &&
	    found_files_read(&survey, error);
		progress_end(&progress);
	}
	/* Where nothing could be read, what was found out about the drives is all there is. */
	if (!good && error->status == STATUS_NO_VOLUME && findings.count > 0)
		say(&survey, options, NULL);
	good = good && say(&survey, options, error);
	survey_free(&survey);
	stop_release(&before);
	findings_free(&findings);
	return good;
}

enum status command_survey(int argc, char **argv)
{
	struct arena arena = {0};
	struct common_options options = {
	    .ruled_out = arena_array(&arena, (size_t)argc, sizeof(*options.ruled_out))};
	struct source_wish wish = {0};
	struct sources sources;
	struct error error = {0};
	enum status status = STATUS_OTHER;
	int first = -1;

	if (options.ruled_out != NULL)
		first = command_options(argc, argv, help, &options, &status);
	if (first >= 0) {
		wish.named = (const char *const *)argv + first;
		wish.n_named = (size_t)(argc - first);
		wish.ruled_out = options.ruled_out;
		wish.n_ruled_out = options.n_ruled_out;
		status = STATUS_COMPLETE;
		if (!sources_find(&arena, "", "survey", &wish, &sources, &error) ||
		    !survey_sources(&sources, &options, &error)) {
			command_complain(&error);
			status = error.status;
		}
	}
	arena_free(&arena);
	return status;
}
