/* The command `extract`: makes a proven archive of what the old drives hold. */
#include "cmd/command.h"

#include "base/progress.h"
#include "base/stop.h"
#include "base/text.h"
#include "cmd/plan_file.h"
#include "cmd/resume.h"
#include "cmd/sources.h"
#include "disk/controllers.h"
#include "extract/destination.h"
#include "extract/drive_image.h"
#include "extract/extract.h"
#include "extract/interrupt.h"
#include "extract/onward.h"
#include "extract/summary.h"
#include "report/accounts_text.h"
#include "report/survey_text.h"
#include "system/found_files.h"
#include "system/recycle_bin.h"
#include "system/traces.h"

#include <errno.h>
#include <getopt.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct extract_command {
	struct common_options common;
	struct extract_options options;
	struct choices choices;
	struct text_list ruled_out; /* its texts and items are the choices' */
	const char *image; /* save the drive there first; NULL: no */
	struct given given;
	bool resume;
	struct unfinished_job job; /* to go on with */
	char *begun; /* name of the job that was begun and broke off; NULL: none */
	uint64_t patience; /* milliseconds a drive, for what does not read at once; 0: no end */
	struct stores stores;
	bool dry_run;
	bool open_only; /* the JSON of a dry run lists only what needs a decision */
};

static const char help[] =
    "usage: coldlift extract --to DIR [options] [SOURCE...]\n\n"
    "Takes people's files off the drives or images named by SOURCE, which are only\n"
    "read, into archives in a new folder under DIR, with a record of every file and\n"
    "hashes of everything. Name all drives of one PC together. On the live stick, and\n"
    "only there, no SOURCE means every drive but the stick and the one with DIR.\n\n"
    "  --to DIR          the folder at the destination; it must be on another drive\n"
    "  --format FORMAT   zip (usual), tar, or folder (plain files)\n"
    "  --person NAME     only this person (account, full or folder name); can be\n"
    "                    repeated\n"
    "  --take PATTERN    take what would be left, such as 'D:\\Machines\\**'; can be\n"
    "                    repeated\n"
    "  --leave PATTERN   leave what would be taken; wins over --take; can be repeated\n"
    "                    (in a pattern * and ? stay within one name, ** goes through\n"
    "                    folders)\n"
    "  --plan FILE       the same from a text file: lines 'take PATTERN', 'leave\n"
    "                    PATTERN' and 'person NAME'; empty lines and lines that start\n"
    "                    with # do not count\n"
    "  --image FILE      save the drive as an image first, with a list of what cannot be\n"
    "                    read (FILE.holes), and work from there: for a drive that may\n"
    "                    not last; one SOURCE only; cut off, the same again goes on\n"
    "  --dry-run         only say what would be taken and what not; writes nothing\n"
    "  --open-only       in the JSON of a dry run, list only what needs a decision\n"
    "  --part-size SIZE  begin a new archive before one becomes larger than this:\n"
    "                    700M, 4G (powers of 1000) or 4GiB (powers of 1024); at\n"
    "                    least 1M\n"
    "  --name NAME       name of the new folder and the archives; the usual one is\n"
    "                    made of the old computer's name and the date\n"
    "  --same HOW        identical files: stored 'once' per archive (usual for tar,\n"
    "                    as links) or 'each' (usual for zip and folder); zip with\n"
    "                    'once' stores the first and lists the others in the record\n"
    "                    only\n"
    "  --careful         for a drive that is failing: what cannot be had again first, and\n"
    "                    all that reads at the first try before any second try\n"
    "  --patience TIME   how long to go on with what does not read at once, for each\n"
    "                    drive: 30m, 6h, 2d (usual: until everything was tried); a drive\n"
    "                    that drops out is not waited for then\n"
    "  --licence-keys    write the old system's own licence key, and the serial numbers\n"
    "                    that programs keep in the registry, into a file of the job;\n"
    "                    only when their owner wants it\n"
    "  --resume          go on with the unfinished job in DIR, after a power cut or when\n"
    "                    there was no room left; its options are kept in it, and the\n"
    "                    drives must be the same (--name says which job, if there are\n"
    "                    several)\n"
    "  --then DIR        where the job goes on when --to is full or fails; with --resume,\n"
    "                    go on there at once. What is in finished archives stays where\n"
    "                    it is; both folders are one job\n"
    "  --checkpoint SIZE note how far the job is whenever so much was read, besides\n"
    "                    every minute: what --resume goes on from (usual: 1GiB)\n"
    "  --not DRIVE       leave this drive out where no SOURCE is named; can be repeated\n"
    "  --json            one JSON document on standard output, text for people on\n"
    "                    standard error\n"
    "  --quiet           no progress, no text for people\n"
    "  --no-text         progress, but no text for people\n"
    "  --help            this text\n\n"
    "Exit status: 0 complete, 1 finished with losses that are listed, 2 wrong command\n"
    "line, 3 no readable volume, 4 the destination failed, 5 anything else.";

static bool parse_same(const char *text, enum same_choice *same)
{
	if (strcmp(text, "once") == 0)
		*same = SAME_ONCE;
	else if (strcmp(text, "each") == 0)
		*same = SAME_EACH;
	else
		return false;
	return true;
}

/* One option with a value. */
static bool take_value(struct extract_command *command, int option, const char *value,
    struct error *error)
{
	struct extract_options *options = &command->options;
	struct choices *choices = &command->choices;

	switch (option) {
	case 't':
		options->to = value;
		return value[0] != '\0' || error_set(error, STATUS_USAGE, "--to needs a folder");
	case 'w':
		options->then = value;
		return value[0] != '\0' || error_set(error, STATUS_USAGE, "--then needs a folder");
	case 'n':
		options->name = value;
		return job_name_check(value, error);
	case 'f':
		command->given.format = true;
		return format_from_name(value, &options->format) ||
		    error_set(error, STATUS_USAGE,
			"there is no format '%s' (zip, tar and folder are there)", value);
	case 's':
		command->given.same = true;
		return parse_same(value, &options->same) ||
		    error_set(error, STATUS_USAGE, "--same takes 'once' or 'each', not '%s'",
			value);
	case 'a':
		return text_to_duration(value, &command->patience) ||
		    error_set(error, STATUS_USAGE,
			"'%s' is no time for --patience (examples: 30m, 6h, 2d)", value);
	case 'i':
		command->image = value;
		return value[0] != '\0' || error_set(error, STATUS_USAGE, "--image needs a file");
	case 'c':
		return (text_to_size(value, &options->checkpoint) && options->checkpoint > 0) ||
		    error_set(error, STATUS_USAGE, "'%s' is no size for --checkpoint", value);
	case 'p':
		command->given.part_size = true;
		if (text_to_size(value, &options->part_limit) &&
		    options->part_limit >= PART_LIMIT_LEAST)
			return true;
		return error_set(error, STATUS_USAGE,
		    "'%s' is no size for a part (at least 1M; examples: 700M, 4G, 4GiB)", value);
	case 'P':
		return choices_add(choices, &choices->persons, value) || error_no_memory(error);
	case 'T':
		return choices_add(choices, &choices->takes, value) || error_no_memory(error);
	case 'x':
		return choices_add(choices, &command->ruled_out, value) || error_no_memory(error);
	case 'L':
		return choices_add(choices, &choices->leaves, value) || error_no_memory(error);
	default:
		return choices_read_file(choices, value, error);
	}
}

/* The options, one with the others. */
static bool go_together(const struct extract_command *command, struct error *error)
{
	if (!command->dry_run)
		return command->options.to != NULL ||
		    error_set(error, STATUS_USAGE,
			"extract needs --to DIR, the folder to write into");
	if (command->image != NULL)
		return error_set(error, STATUS_USAGE,
		    "--image saves the drive, and a dry run writes nothing; leave one of them out");
	return !command->resume ||
	    error_set(error, STATUS_USAGE, "--resume and --dry-run do not go together");
}

/* False: stop with *status, everything has been said. */
static bool parse(int argc, char **argv, struct extract_command *command, enum status *status)
{
	static const struct option known[] = {{"to", required_argument, NULL, 't'},
	    {"format", required_argument, NULL, 'f'}, {"person", required_argument, NULL, 'P'},
	    {"take", required_argument, NULL, 'T'}, {"leave", required_argument, NULL, 'L'},
	    {"plan", required_argument, NULL, 'F'}, {"dry-run", no_argument, NULL, 'd'},
	    {"image", required_argument, NULL, 'i'},
	    {"part-size", required_argument, NULL, 'p'}, {"name", required_argument, NULL, 'n'},
	    {"same", required_argument, NULL, 's'}, {"not", required_argument, NULL, 'x'},
	    {"resume", no_argument, NULL, 'r'}, {"then", required_argument, NULL, 'w'},
	    {"checkpoint", required_argument, NULL, 'c'},
	    {"careful", no_argument, NULL, 'C'}, {"patience", required_argument, NULL, 'a'},
	    {"json", no_argument, NULL, 'j'}, {"open-only", no_argument, NULL, 'o'},
	    {"licence-keys", no_argument, NULL, 'k'},
	    {"quiet", no_argument, NULL, 'q'}, {"no-text", no_argument, NULL, 'N'},
	    {"help", no_argument, NULL, 'h'},
	    {NULL, 0, NULL, 0}};
	struct error error = {0};
	int option;

	opterr = 0;
	optind = 1;
	while ((option = getopt_long(argc, argv, ":", known, NULL)) != -1) {
		if (option == '?' || option == ':') {
			error_set(&error, STATUS_USAGE,
			    option == ':'
				? "the option '%s' needs a value (coldlift extract --help)"
				: "the option '%s' is not understood (coldlift extract --help "
				  "lists them)",
			    argv[optind - 1]);
			break;
		}
		if (option == 'h') {
			puts(help);
			*status = STATUS_COMPLETE;
			return false;
		}
		if (option == 'j')
			command->common.json = true;
		else if (option == 'q')
			command->common.quiet = true;
		else if (option == 'N')
			command->common.no_text = true;
		else if (option == 'o')
			command->open_only = true;
		else if (option == 'k')
			command->options.licence_keys = true;
		else if (option == 'C')
			command->options.careful = command->given.careful = true;
		else if (option == 'd')
			command->dry_run = true;
		else if (option == 'r')
			command->resume = true;
		else if (!take_value(command, option, optarg, &error))
			break;
	}
	if (error.status == 0 && go_together(command, &error))
		return true;
	command_complain(&error);
	*status = error.status;
	return false;
}

static bool say(const struct extract_command *command, const struct summary *summary,
    struct error *error)
{
	if (!command->common.quiet && !command->common.no_text)
		summary_print(command->common.json ? stderr : stdout, summary);
	if (command->common.json && !summary_print_json(stdout, summary))
		return error_set(error, STATUS_OTHER, "standard output cannot be written to");
	return true;
}

static enum status dry_run(const struct extract_command *command, const struct plan *plan,
    struct findings *findings, struct error *error)
{
	struct outcomes outcomes = {0};
	struct sums sums = {0};
	struct summary summary = {.plan = plan, .outcomes = &outcomes, .sums = &sums,
	    .findings = findings, .open_only = command->open_only};
	bool good = outcomes_start(&outcomes, plan) && sums_make(&sums, &outcomes);

	if (!good)
		error_no_memory(error);
	else
		findings_sort(findings);
	good = good && say(command, &summary, error);
	sums_free(&sums);
	outcomes_free(&outcomes);
	return good ? STATUS_COMPLETE : error->status;
}

/* A job that broke off leaves something behind: the sentence goes on with that. */
static void say_incomplete(const struct extract_command *command,
    const struct extraction *extraction, struct error *error)
{
	size_t used = strlen(error->text);
	char *journal;
	bool is_gone;

	if (extraction->job.folder == NULL)
		return;
	journal = job_path(&extraction->job, JOB_JOURNAL);
	is_gone = journal != NULL && access(journal, F_OK) != 0 && errno == ENOENT;
	free(journal);
	if (!is_gone)
		snprintf(error->text + used, sizeof(error->text) - used,
		    "; nothing was changed on the old drives; the job '%.200s' is incomplete; go on "
		    "with it by the same command and --resume%s%.100s%s: there, when the fault is "
		    "mended (room is made, the drive is back), or with --then DIR at another drive",
		    extraction->job.folder, command->options.name == NULL ? " --name '" : "",
		    command->options.name == NULL ? extraction->job.name : "",
		    command->options.name == NULL ? "'" : "");
}

/* Does a job that broke off go on at the other destination that was named from the beginning? */
static bool goes_on(const struct extract_command *command, const struct extraction *extraction,
    const struct error *error)
{
	return command->options.then != NULL && !command->resume &&
	    extraction->job.folder != NULL && error->status == STATUS_DESTINATION;
}

static enum status extract(struct extract_command *command, const struct plan *plan,
    struct findings *findings, struct error *error)
{
	struct extraction extraction;
	enum status status;

	if (command->resume ? extract_resume(&extraction, plan, &command->job, &command->options,
				  findings, error)
			    : extract_run(&extraction, plan, &command->options, findings, error)) {
		struct summary summary = {.plan = plan, .outcomes = &extraction.outcomes,
		    .sums = &extraction.sums, .findings = findings, .job = &extraction.job,
		    .parts = &extraction.parts,
		    .places = &extraction.places,
		    .status = extraction_status(&extraction, findings)};

		status = say(command, &summary, error) ? summary.status : error->status;
	} else {
		status = error->status;
		if (goes_on(command, &extraction, error))
			command->begun = strdup(extraction.job.name);
		else
			say_incomplete(command, &extraction, error);
	}
	extraction_free(&extraction);
	return status;
}

/* Saves the drive, when that was asked for; from then on the image is the source. */
static bool save_image(const struct extract_command *command, struct sources *sources,
    struct findings *findings, struct error *error)
{
	struct image_order order = {.file = command->image,
	    .to = command->options.to,
	    .patience = command->patience,
	    .checkpoint = command->options.checkpoint,
	    .quiet = command->common.quiet};

	if (command->image == NULL)
		return true;
	if (sources->count != 1)
		return error_set(error, STATUS_USAGE,
		    "--image saves one drive, and there are %zu; save each in a job of its own, then "
		    "extract from all the images together",
		    sources->count);
	order.drive = sources->paths[0];
	/* A job is begun when its image is complete. */
	if (!command->resume && !drive_image_save(&order, findings, error))
		return false;
	sources->paths = &command->image;
	sources->chosen = false;
	return true;
}

static bool survey_once(struct extract_command *command, const struct sources *sources,
    struct survey *survey, struct findings *findings, struct error *error)
{
	const struct survey_way way = {.chosen = sources->chosen,
	    .opened = command->dry_run ? NULL : stores_open,
	    .context = &command->stores};
	struct progress progress;
	bool good;

	progress_start(&progress, "Reading file tables", 0, command->common.quiet);
	if (sources->chosen)
		controllers_look("", findings);
	good = survey_run_with(
	    survey, sources->paths, sources->count, &way, &progress, findings, error);
	progress_end(&progress);
	return good;
}

/*
 * Of a job that is to go on the drives must be the same; and they are surveyed in its order, since
 * what is called how depends on that.
 */
static bool survey_sources(struct extract_command *command, const struct sources *sources,
    struct arena *arena, struct survey *survey, struct findings *findings, struct error *error)
{
	const struct head *head = &command->job.read.head;
	struct sources own = {.chosen = sources->chosen, .count = head->n_sources};
	bool same_order;
	bool good = survey_once(command, sources, survey, findings, error);

	if (!good || !command->resume)
		return good;
	good = resume_sources(
	    head, survey, sources->chosen, arena, &own.paths, &same_order, error);
	if (good && !same_order) {
		survey_free(survey);
		*survey = (struct survey){0};
		findings_free(findings);
		findings_init(findings);
		good = survey_once(command, &own, survey, findings, error);
	}
	return good;
}

/* Before the drives are read, which can take a while. */
static bool check_first(struct extract_command *command, const struct plan_options *choices,
    struct error *error)
{
	struct destination destination;

	if (command->dry_run)
		return true;
	/* Of one that is to be left only as much is asked as leaving it takes. */
	if (!destination_check(&destination,
		command->resume && command->options.then != NULL ? command->options.then :
								   command->options.to, error))
		return false;
	if (!command->resume && command->options.then != NULL &&
	    !destination_check(&destination, command->options.then, error))
		return false;
	return !command->resume ||
	    (onward_find(&command->job, &command->options.to, &command->options.then,
		 command->options.name, error) &&
		resume_agrees(&command->job.read.head, &command->given, &command->options, choices,
		    error));
}

static void start_stores(struct extract_command *command)
{
	const struct stores_options options = {.to = command->options.to,
	    .job = command->resume ? command->job.folder : NULL,
	    .careful = command->resume ? command->job.read.head.careful : command->options.careful,
	    .patience = command->patience};

	stores_start(&command->stores, &options);
	command->options.stores = &command->stores;
}

/* Everything after the command line. */
static enum status run(struct extract_command *command, struct sources *sources,
    struct arena *arena, struct findings *findings, struct error *error)
{
	struct plan_options choices = choices_to_options(&command->choices);
	struct survey survey = {0};
	struct plan plan = {0};
	enum status status = STATUS_OTHER;
	sigset_t before;

	/* There is no job before its image is complete. */
	if (command->image != NULL && drive_image_is_unfinished(command->image))
		command->resume = false;
	if (!check_first(command, &choices, error))
		return error->status;
	if (command->resume)
		choices = command->job.read.head.choices;
	command->options.choices = &choices;
	stop_hold(&before);
	if (!save_image(command, sources, findings, error)) {
		stop_release(&before);
		return error->status;
	}
	start_stores(command);
	if (survey_sources(command, sources, arena, &survey, findings, error) &&
	    traces_read(&survey, error) && recycle_bins_read(&survey, error) &&
	    found_files_read(&survey, error) &&
	    plan_make(&plan, &survey, &choices, findings, error)) {
		if (!command->common.quiet && !command->common.no_text)
			organisations_print(&survey, stderr);
		/* From here on the work itself stops cleanly. */
		if (!command->dry_run) {
			interrupt_watch();
			stop_release(&before);
		}
		status = command->dry_run ? dry_run(command, &plan, findings, error) :
					    extract(command, &plan, findings, error);
	} else {
		status = error->status;
		/* What was found out about the drives is all there is then. */
		if (status == STATUS_NO_VOLUME && !command->common.quiet) {
			findings_sort(findings);
			findings_print(findings, stderr);
		}
	}
	plan_free(&plan);
	survey_free(&survey);
	stores_end(&command->stores);
	stop_release(&before);
	return status;
}

static bool find_sources(const struct extract_command *command, int argc, char **argv,
    struct arena *arena, struct sources *sources, struct error *error)
{
	const struct source_wish wish = {
	    .named = (const char *const *)argv + optind,
	    .n_named = (size_t)(argc - optind),
	    .ruled_out = command->ruled_out.items,
	    .n_ruled_out = command->ruled_out.count,
	    .to = command->options.to,
	    .then = command->options.then,
	};

	return sources_find(arena, "", "extract", &wish, sources, error);
}

/*
 * The job that was begun and broke off, at the other destination: everything is learned of the
 * drives once more, as by --resume in a run of its own.
 */
static enum status run_on(struct extract_command *command, struct sources *sources,
    struct arena *arena, struct findings *findings, struct error *error)
{
	size_t used = strlen(error->text);

	snprintf(error->text + used, sizeof(error->text) - used, "; the job goes on at '%.200s'",
	    command->options.then);
	if (!command->common.quiet)
		command_complain(error);
	*error = (struct error){0};
	findings_free(findings);
	findings_init(findings);
	command->options.name = command->begun;
	command->resume = true;
	return run(command, sources, arena, findings, error);
}

enum status command_extract(int argc, char **argv)
{
	struct extract_command command = {0};
	struct arena arena = {0};
	struct sources sources;
	struct findings findings;
	struct error error = {0};
	enum status status;

	if (parse(argc, argv, &command, &status)) {
		command.options.quiet = command.common.quiet;
		findings_init(&findings);
		if (find_sources(&command, argc, argv, &arena, &sources, &error))
			status = run(&command, &sources, &arena, &findings, &error);
		else
			status = error.status;
		if (command.begun != NULL)
			status = run_on(&command, &sources, &arena, &findings, &error);
		if (error.status != 0)
			command_complain(&error);
		findings_free(&findings);
	}
	unfinished_free(&command.job);
	free(command.begun);
	choices_free(&command.choices);
	free(command.ruled_out.items);
	arena_free(&arena);
	return status;
}
