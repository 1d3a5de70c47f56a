/*
 * The parts of a job from the live stick that need no stick: work in a process of its own, free
 * names at a destination, the log, a command's words on their way there, and what is said in the
 * end. The project's own rules; no outside source applies.
 */
#include "unit.h"

#include "console/apart.h"
#include "console/job_log.h"
#include "console/job_place.h"
#include "console/job_result.h"
#include "console/relay_text.h"

#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/coldlift-run-XXXXXX";

/* --- apart --- */

static bool answers(const void *about, struct buf *answer, struct error *error)
{
	(void)error;
	buf_printf(answer, "beans and %s", (const char *)about);
	return true;
}

static bool says_no(const void *about, struct buf *answer, struct error *error)
{
	(void)about;
	buf_add_text(answer, "half");
	return error_set(error, STATUS_DESTINATION, "the shed is %d%% full", 100);
}

static bool hangs(const void *about, struct buf *answer, struct error *error)
{
	(void)about;
	(void)answer;
	(void)error;
	for (;;)
		pause();
	return true;
}

static bool dies(const void *about, struct buf *answer, struct error *error)
{
	(void)about;
	(void)answer;
	(void)error;
	abort();
	return true;
}

static void work_apart(void **state)
{
	struct buf answer = {0};
	struct error error = {0};
	bool late;

	(void)state;
	assert_true(apart_run(answers, "peas", 5, &answer, &late, &error));
	assert_string_equal(buf_text(&answer), "beans and peas");
	assert_false(late);
	buf_clear(&answer);
	assert_false(apart_run(says_no, NULL, 5, &answer, &late, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_string_equal(error.text, "the shed is 100% full");
	assert_false(late);
	assert_false(apart_run(hangs, NULL, 1, &answer, &late, &error));
	assert_true(late);
	assert_false(apart_run(dies, NULL, 5, &answer, &late, &error));
	assert_false(late);
	assert_int_equal(answer.length, 0);
	buf_free(&answer);
}

/* --- names --- */

static void touch(const char *name)
{
	char path[400];
	int fd;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	fd = open(path, O_WRONLY | O_CREAT, 0600);
	assert_true(fd >= 0);
	close(fd);
}

static void make_folder(const char *name)
{
	char path[400];

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	assert_int_equal(mkdir(path, 0700), 0);
}

static void free_names(void **state)
{
	struct job_place place;
	struct error error;

	(void)state;
	assert_true(job_place_choose(folder, "Plums", &place, &error));
	assert_string_equal(place.name, "Plums");
	assert_true(job_place_look(folder, &place, &error));
	assert_false(place.folder_is_there);
	/* Case does not count, as on most destinations; a log takes its name too. */
	make_folder("PLUMS");
	touch("plums-2-log.txt");
	touch("Plums-3");
	touch("Plums-40-log.txt");
	touch("Plums-4-notes");
	assert_true(job_place_choose(folder, "Plums", &place, &error));
	assert_string_equal(place.name, "Plums-4");
	make_folder("Plums-4");
	assert_true(job_place_look(folder, &place, &error));
	assert_true(place.folder_is_there);
	assert_false(place.journal_is_there);
	touch("Plums-4/journal");
	assert_true(job_place_look(folder, &place, &error));
	assert_true(place.journal_is_there);
	assert_false(job_place_choose("/nowhere/at/all", "x", &place, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
}

/* --- log --- */

static void read_file(const char *name, char *text, size_t size)
{
	char path[400];
	FILE *file;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	file = fopen(path, "r");
	assert_non_null(file);
	text[fread(text, 1, size - 1, file)] = '\0';
	fclose(file);
}

static void log_with_times(void **state)
{
	struct job_log log;
	struct relay_text lines;
	char path[400], text[4000], complaint[600];
	static const char said[] = "Reading 1\r\033[KReading 2\r\033[KFiles: 3\n"
				   "coldlift: the destination is too small:\n"
				   "          go on elsewhere.\n"
				   "\033[1mlast\033[0m \x07words";

	(void)state;
	snprintf(path, sizeof(path), "%s/a-log.txt", folder);
	job_log_open(&log, path, false);
	job_log_line(&log, "first\n%s", "sec\033ond");
	relay_text_start(&lines, &log, false);
	/* Byte by byte: nothing may depend on how the pieces come. */
	for (size_t i = 0; i < sizeof(said) - 1; i++)
		relay_text_add(&lines, said + i, 1);
	relay_text_end(&lines, complaint, sizeof(complaint));
	assert_true(job_log_close(&log, 10));
	assert_string_equal(complaint, "the destination is too small: go on elsewhere");
	read_file("a-log.txt", text, sizeof(text));
	for (char *at = text, *rest = text; (at = strsep(&rest, "\n")) != NULL && *at != '\0';) {
		unsigned hours, minutes, seconds;

		assert_int_equal(sscanf(at, "%2u:%2u:%2u", &hours, &minutes, &seconds), 3);
		assert_int_equal(at[strlen(at) - 1], '\r');
	}
	read_file("a-log.txt", text, sizeof(text));
	assert_non_null(strstr(text, "  first\r\n"));
	assert_non_null(strstr(text, "  sec<U+001B>ond\r\n"));
	assert_non_null(strstr(text, "  Files: 3\r\n"));
	assert_non_null(strstr(text, "  last words\r\n"));
	assert_null(strstr(text, "Reading"));
	/* A log that is there already is not touched. */
	job_log_open(&log, path, false);
	job_log_line(&log, "another");
	assert_false(job_log_close(&log, 10));
	read_file("a-log.txt", text, sizeof(text));
	assert_null(strstr(text, "another"));
	/* Unless its job goes on: then it follows, on a line of its own. */
	job_log_open(&log, path, true);
	job_log_line(&log, "once more");
	assert_true(job_log_close(&log, 10));
	read_file("a-log.txt", text, sizeof(text));
	assert_non_null(strstr(text, "  last words\r\n\r\n"));
	assert_non_null(strstr(text, "  once more\r\n"));
	job_log_open(&log, "/nowhere/at/all.txt", false);
	for (unsigned i = 0; i < 100000; i++)
		job_log_line(&log, "a line that nobody takes");
	assert_false(job_log_close(&log, 10));
}

/* --- result --- */

/* A verify_status of -1: verify was not begun; -2: also, the job was to go on. */

static struct job_end judge(int extract_status, const char *complaint, int verify_status,
    bool folder_there, bool journal, bool known)
{
	static const char json[] =
	    "{\"states\":{\"taken\":{\"files\":1200,\"bytes\":5000000},\"same\":{\"files\":34}},"
	    "\"findings\":[{\"weight\":\"loss\"},{\"weight\":\"caution\"},{\"weight\":\"note\"}],"
	    "\"decisions\":[{\"files\":7}]}";
	struct job_place place = {
	    .name = "fernhill", .folder_is_there = folder_there, .journal_is_there = journal};
	struct relay_end extract = {.status = extract_status}, verify = {.status = verify_status};
	struct job_facts facts = {.place = &place,
	    .place_is_known = known,
	    .gone_on = verify_status == -2,
	    .extract = &extract,
	    .verify = verify_status < 0 ? NULL : &verify,
	    .where = "NEWHOME (/dev/sdc1)"};
	struct job_end end = {0};

	if (extract_status < 2)
		buf_add_text(&extract.json, json);
	snprintf(extract.complaint, sizeof(extract.complaint), "%s", complaint);
	snprintf(verify.complaint, sizeof(verify.complaint), "two differences");
	job_result_judge(&facts, &end);
	buf_free(&extract.json);
	return end;
}

static void says(const struct job_end *end, const char *words)
{
	if (strstr(end->sentence, words) == NULL)
		fail_msg("'%s' does not say '%s'", end->sentence, words);
}

static void results(void **state)
{
	struct job_end end = judge(1, "", 1, true, false, true);

	(void)state;
	assert_true(end.extracted && end.proven);
	assert_int_equal(end.status, STATUS_LOSSES);
	says(&end, "1,234 files");
	says(&end, "1 loss is listed");
	says(&end, "7 files were left");
	says(&end, "Keep the old drives");

	job_end_free(&end);
	end = judge(0, "", 5, true, false, true);
	assert_true(end.extracted && !end.proven);
	assert_int_equal(end.status, STATUS_OTHER);
	says(&end, "two differences");
	says(&end, "Do not rely on it");

	job_end_free(&end);
	end = judge(4,
	    "the destination is full: 'a.zip' could not be written to its end; choose a larger "
	    "drive, or take less (--person, --leave); nothing was changed on the old drives; the job",
	    -1, true, true, true);
	assert_false(end.extracted || end.proven);
	assert_int_equal(end.status, STATUS_DESTINATION);
	assert_string_equal(end.name, "fernhill");
	says(&end, "not finished: the destination is full: 'a.zip' could not be written to its end. N");
	says(&end, "journal");
	says(&end, "Make room: move something else away");
	says(&end, "the job goes on where it stopped");

	job_end_free(&end);
	end = judge(
	    4, "no answer; nothing was changed on the old drives; the job '/mnt/fernhill' is", -1, true, true, true);
	says(&end, "not finished: no answer. Nothing");

	says(&end, "Plug the destination in again");

	job_end_free(&end);
	end = judge(5,
	    "the old drive /dev/sdb (Plum) is gone: it was unplugged, or has switched itself off; "
	    "plug it in again and go on; should it; nothing was changed on the old drives; the job",
	    -1, true, true, true);
	says(&end, "not finished: the old drive /dev/sdb (Plum) is gone: it was unplugged, or has "
		   "switched itself off. Nothing was");
	says(&end, "Plug the old drive in again");

	job_end_free(&end);
	end = judge(4, "it is gone", -1, false, false, false);
	says(&end, "does not answer any more");
	says(&end, "Plug the destination in again");
	assert_string_equal(end.name, "fernhill");

	job_end_free(&end);
	end = judge(2, "there is no person called 'quince'", -1, false, false, true);
	assert_int_equal(end.status, STATUS_USAGE);
	assert_string_equal(end.name, "");
	says(&end, "No job was made: there is no person called 'quince'");

	/* Killed by a signal, and said to be complete with the mark still there. */
	job_end_free(&end);
	end = judge(137, "", -1, true, true, true);
	assert_int_equal(end.status, STATUS_OTHER);
	says(&end, "ended in the middle");
	job_end_free(&end);
	end = judge(0, "", -1, true, true, true);
	assert_false(end.extracted);
	assert_int_equal(end.status, STATUS_OTHER);
	job_end_free(&end);
}

/* Of a job that was to go on: what means that only a new one helps. */
static void refusals(void **state)
{
	static const struct {
		int status;
		const char *complaint, *reason; /* NULL: it is only unfinished still */
	} cases[] = {
	    {2, "the job was begun with another drive than this: it was '/dev/sda' (Plum); connect "
		"that one, or begin a new job without --resume",
		"the job was begun with another drive than this: it was '/dev/sda' (Plum). It was"},
	    {2, "a drive that the job was begun with is not among these: 'x'; name it, too, or begin "
		"a new job without --resume",
		"is not among these: 'x'. It was"},
	    {4, "'a.zip' was finished, and is not in the job any more as it was; put it back, or begin "
		"a new job without --resume; nothing was changed on the old drives; the job 'x' is",
		"is not in the job any more as it was. It was"},
	    {4, "the job's journal is damaged; begin a new job without --resume", "is damaged. It was"},
	    {4, "there is no room left", NULL},
	    {137, "", NULL},
	};

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct job_end end = judge(cases[i].status, cases[i].complaint, -2, true, true, true);

		assert_int_equal(end.refused, cases[i].reason != NULL);
		says(&end, cases[i].reason != NULL ? cases[i].reason : "goes on where it stopped");
		job_end_free(&end);
		/* A new job is refused by nobody. */
		end = judge(cases[i].status, cases[i].complaint, -1, true, true, true);
		assert_false(end.refused);
		job_end_free(&end);
	}
}

static int begin(void **state)
{
	(void)state;
	return mkdtemp(folder) != NULL ? 0 : -1;
}

static int end_all(void **state)
{
	char command[100];

	(void)state;
	snprintf(command, sizeof(command), "rm -rf %s", folder);
	return system(command);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(work_apart),
	    cmocka_unit_test(free_names),
	    cmocka_unit_test(log_with_times),
	    cmocka_unit_test(results),
	    cmocka_unit_test(refusals),
	};

	return cmocka_run_group_tests(tests, begin, end_all);
}
