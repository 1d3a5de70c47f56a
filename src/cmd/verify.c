/* The command `verify`: proves a job and says what differs. */
#include "base/json.h"
#include "base/text.h"
#include "cmd/command.h"
#include "extract/verify.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define WIDTH 79
#define MOST_SHOWN 100 /* differences; --json has more of them */

static const char help[] =
    "usage: coldlift verify [options] FOLDER...\n\n"
    "Proves a job from its own files: reads every byte of every part, and compares\n"
    "it with the lists of hashes and with the record. FOLDER is the one that\n"
    "`extract` made; of a job that went on at another destination, give the folders\n"
    "at all of them. Nothing is changed, and nothing outside of them is read.\n\n"
    "  --json    one JSON document on standard output\n"
    "  --quiet   no text; only the exit status, and a sentence when something differs\n"
    "  --help    this text\n\n"
    "Exit status: 0 proven, 1 proven, but the job lists losses, 2 wrong command\n"
    "line, 4 the job cannot be read, 5 something differs, or a folder was not given.\n";

/* A number with its word. */
static struct size_text counted(uint64_t number, const char *word)
{
	struct size_text result = text_count(number);
	size_t length = strlen(result.text);

	snprintf(result.text + length, sizeof(result.text) - length, " %s%s", word,
	    number == 1                     ? ""
	    : word[strlen(word) - 1] == 's' ? "es"
					    : "s");
	return result;
}

static void print_facts(FILE *stream, const struct verify_result *result)
{
	struct buf line = {0};

	buf_printf(&line, "Job %s", result->job);
	if (result->started[0] != '\0')
		buf_printf(&line, ", started %.10s", result->started);
	if (result->program[0] != '\0')
		buf_printf(&line, ", made by %s", result->program);
	text_wrap(stream, buf_text(&line), 0, WIDTH);
	buf_free(&line);
	fprintf(stream, "  %-10s %s, %s\n", "parts", text_count(result->n_parts).text,
	    text_size(result->part_bytes).text);
	fprintf(stream, "  %-10s %s, %s\n", "files", text_count(result->n_files).text,
	    text_size(result->file_bytes).text);
	fprintf(stream, "  %-10s %s\n", "record", counted(result->n_lines, "line").text);
	for (size_t i = 0; i < RECORD_STATES; i++)
		if (result->state_count[i] > 0)
			fprintf(stream, "    %-12s %s, %s\n", record_state_name(i),
			    counted(result->state_count[i], "stream").text,
			    text_size(result->state_bytes[i]).text);
	fputc('\n', stream);
}

static void print_differences(FILE *stream, const struct verify_result *result)
{
	size_t shown = result->n_kept < MOST_SHOWN ? result->n_kept : MOST_SHOWN;

	for (size_t i = 0; i < shown; i++) {
		const struct difference *difference = &result->differences[i];

		fputs("  ", stream);
		text_wrap(stream, difference->subject, 2, WIDTH);
		fputs("      ", stream);
		text_wrap(stream, difference->text, 6, WIDTH);
	}
	if (result->n_differences > shown)
		fprintf(stream, "  ... and %s more (--json lists up to 10,000)\n",
		    text_count(result->n_differences - shown).text);
	fputc('\n', stream);
}

static void print_good_verdict(FILE *stream, const struct verify_result *result)
{
	struct buf text = {0};

	buf_add_text(&text, "Proven: every byte of every part is what was recorded, and record and "
			    "proof agree.");
	if (result->n_not_whole > 0)
		buf_printf(&text,
		    " But %s did not arrive whole: see the states partial, unreadable "
		    "and locked in record.jsonl.",
		    counted(result->n_not_whole, "item").text);
	if (result->n_losses > 0)
		buf_printf(&text, " The extraction listed %s: see findings.json.",
		    counted(result->n_losses, "loss").text);
	if (result->n_unaccounted > 0)
		buf_printf(&text, " %s of the old volumes could not be accounted for.",
		    counted(result->n_unaccounted, "cluster").text);
	text_wrap(stream, buf_text(&text), 0, WIDTH);
	if (result->n_others > 0)
		fprintf(stream, "%s in the folder %s no part of the job and %s not looked at.\n",
		    counted(result->n_others, "name").text, result->n_others == 1 ? "is" : "are",
		    result->n_others == 1 ? "was" : "were");
	buf_free(&text);
}

/* "the first destination" */
static void add_destination(struct buf *text, unsigned number)
{
	static const char *const words[] = {"first", "second", "third", "fourth", "fifth"};

	if (number >= 1 && number <= sizeof(words) / sizeof(words[0]))
		buf_printf(text, "the %s destination", words[number - 1]);
	else
		buf_printf(text, "destination %u", number);
}

/* Parts in folders that were not given, and that nothing differs in the others. */
static void print_absent(FILE *stream, const struct verify_result *result)
{
	struct buf text = {0};

	if (result->n_differences == 0)
		buf_add_text(&text, "What was looked at is what was recorded. ");
	buf_add_text(&text, "This was not looked at, and is not proven:");
	text_wrap(stream, buf_text(&text), 0, WIDTH);
	for (size_t i = 0; i < result->n_absent && i < MOST_SHOWN; i++) {
		buf_clear(&text);
		buf_printf(&text, "%s, on ", result->absent[i].name);
		add_destination(&text, result->absent[i].destination);
		fputs("  ", stream);
		text_wrap(stream, buf_text(&text), 4, WIDTH);
	}
	if (result->n_absent > MOST_SHOWN)
		fprintf(stream, "  ... and %s more (--json lists them)\n",
		    text_count(result->n_absent - MOST_SHOWN).text);
	fputc('\n', stream);
	buf_free(&text);
}

static void complain_of_absent(const struct verify_result *result)
{
	struct buf where = {0};
	struct error error;

	for (size_t i = 0; i < result->n_absent && where.length < 200; i++) {
		unsigned number = result->absent[i].destination;
		size_t before = 0;

		while (before < i && result->absent[before].destination != number)
			before++;
		if (before < i)
			continue;
		if (where.length > 0)
			buf_add_text(&where, " and ");
		add_destination(&where, number);
	}
	error_set(&error, STATUS_OTHER,
	    "the job is not proven: %s of it %s on %s; give the folder there, too (coldlift verify "
	    "FOLDER FOLDER)",
	    counted(result->n_absent, "file").text, result->n_absent == 1 ? "is" : "are",
	    buf_text(&where));
	command_complain(&error);
	buf_free(&where);
}

static void complain_of_differences(const struct verify_result *result)
{
	struct error error;
	const struct difference *first = &result->differences[0];

	if (first->kind == DIFFERS_UNFINISHED)
		error_set(&error, STATUS_OTHER,
		    "this job is not finished and proves nothing; keep the old drive, and extract "
		    "again");
	else
		error_set(&error, STATUS_OTHER,
		    "the job is not what was extracted: %s; keep the old drive, and do not rely on "
		    "what is named here",
		    counted(result->n_differences, "difference").text);
	command_complain(&error);
}

/* False when standard output could not be written to. */
static bool print_result(const struct verify_result *result, const struct common_options *options)
{
	FILE *stream = options->json ? stderr : stdout;

	if (options->json) {
		struct buf buf = {0};
		struct json json;

		json_start(&json, &buf, true);
		verify_to_json(result, &json);
		fwrite(buf_text(&buf), 1, buf.length, stdout);
		fputc('\n', stdout);
		buf_free(&buf);
	}
	if (!options->quiet) {
		print_facts(stream, result);
		if (result->n_differences > 0)
			print_differences(stream, result);
		if (result->n_absent > 0)
			print_absent(stream, result);
		else if (result->n_differences == 0)
			print_good_verdict(stream, result);
	}
	if (result->n_differences > 0)
		complain_of_differences(result);
	else if (result->n_absent > 0)
		complain_of_absent(result);
	return fflush(stdout) == 0 && !ferror(stdout);
}

enum status command_verify(int argc, char **argv)
{
	struct common_options options = {0};
	struct verify_result result;
	struct error error;
	enum status status;
	int first = command_options(argc, argv, help, &options, &status);

	if (first < 0)
		return status;
	if (argc - first < 1) {
		error_set(&error, STATUS_USAGE, "verify needs the folder of a job");
		command_complain(&error);
		return error.status;
	}
	if (!verify_job(&result, (const char *const *)argv + first, (size_t)(argc - first),
		options.quiet, &error)) {
		status = error.status;
		command_complain(&error);
	} else {
		status = verify_status(&result);
		if (!print_result(&result, &options)) {
			error_set(&error, STATUS_OTHER, "standard output cannot be written to");
			command_complain(&error);
			status = STATUS_OTHER;
		}
	}
	verify_free(&result);
	return status;
}
