/*
 * Unfinished jobs at a destination: which are found, what is told of them, and which of them an
 * order without anybody means. The project's own rules; no outside source applies.
 */
#include "unit.h"

#include "base/filetime.h"
#include "console/begun.h"
#include "extract/head.h"
#include "scratch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define BEGUN INT64_C(1772366520) /* 2026-03-01 12:02:00 UTC */

static const char *const persons[] = {"mara", "Rowan Fern"};
static const char *const leaves[] = {"D:\\Survey\\**"};
static struct identity sources[] = {
    {.path = "/dev/sda", .model = "Plum", .serial = "1", .size = 1000},
    {.path = "/dev/sdb", .model = "", .serial = "", .size = 2000}};

static struct head usual_head(const char *name, int64_t minutes)
{
	return (struct head){.name = name,
	    .started = filetime_from_unix(BEGUN + minutes * 60, 0),
	    .format = FORMAT_TAR,
	    .same = SAME_EACH,
	    .part_limit = 4000000000,
	    .choices = {.persons = persons, .n_persons = 2, .leaves = leaves, .n_leaves = 1},
	    .sources = sources,
	    .n_sources = 2,
	    .n_items = 12};
}

/* With a checkpoint that says that `stored` bytes had arrived. */
static void make_job(const char *folder, const struct head *head, unsigned stored)
{
	struct buf page = {0}, line = {0};
	struct journal journal;
	char name[400], command[500];
	struct error error;

	snprintf(command, sizeof(command), "mkdir '%s'", folder);
	assert_int_equal(shell(command), 0);
	snprintf(name, sizeof(name), "%s/journal", folder);
	buf_add_text(&page, "# The job is not complete.\n");
	assert_true(journal_create(&journal, inside(name), &page, &error));
	assert_true(head_write(&journal, head, &error));
	buf_printf(&line, "{\"checkpoint\":{\"stored\":%u,\"open\":[]}}", stored);
	assert_true(journal_add(&journal, &line, &error) && journal_sync(&journal, &error));
	journal_close(&journal);
	buf_free(&page);
	buf_free(&line);
}

static const char *order_persons[] = {"mara", "Rowan Fern"};
static const char *order_leaves[] = {"D:\\Survey\\**"};

/* What usual_head() was begun by. */
static struct order usual_order(void)
{
	return (struct order){.persons = {order_persons, 2},
	    .leaves = {order_leaves, 1},
	    .format = "tar",
	    .same = "each",
	    .part_size = "4G",
	    .name = "fernhill"};
}

static void read_all(struct begun_jobs *jobs, const struct order *order, const struct look *look,
    const struct look_drive *target)
{
	struct begun_wish wish = {order, look, target};
	struct error error;

	if (!begun_read(inside(""), &wish, jobs, &error))
		fail_msg("%s", error.text);
}

static void found_and_told(void **state)
{
	struct begun_jobs *jobs = calloc(1, sizeof(*jobs));
	struct head first = usual_head("fernhill", 0), second = usual_head("fernhill-2", 5),
		    moved = usual_head("other", 7);

	(void)state;
	assert_non_null(jobs);
	setenv("TZ", "UTC", 1);
	tzset();
	read_all(jobs, NULL, NULL, NULL);
	assert_int_equal(jobs->count, 0);
	make_job("fernhill", &first, 12345678);
	make_job("fernhill-2", &second, 0);
	make_job("renamed", &moved, 0);
	/* What is none of ours: a file, a diary, a link, a complete job. */
	assert_int_equal(shell("echo x >plums; mkdir diary done linked; echo dear >diary/journal; "
			       "ln -s ../fernhill/journal linked/journal; mkdir -p odd/journal"),
	    0);
	read_all(jobs, NULL, NULL, NULL);
	assert_int_equal(jobs->count, 3);
	assert_false(jobs->more || jobs->stale);
	assert_string_equal(jobs->items[0].name, "renamed");
	assert_non_null(strstr(jobs->items[0].problem, "'other'"));
	assert_false(begun_is_meant(&jobs->items[0]));
	assert_string_equal(jobs->items[1].name, "fernhill-2");
	assert_string_equal(jobs->items[2].name, "fernhill");
	assert_string_equal(jobs->items[2].when, "2026-03-01 12:02");
	assert_string_equal(
	    jobs->items[2].what, "the files of mara and Rowan Fern, as tar, without D:\\Survey\\**");
	assert_string_equal(jobs->items[2].problem, "");
	assert_true(jobs->items[2].stored == 12345678);
	assert_true(begun_is_meant(&jobs->items[2]));
	free(jobs);
}

static bool is_ordered(const struct order *order)
{
	struct begun_jobs *jobs = calloc(1, sizeof(*jobs));
	bool is;

	assert_non_null(jobs);
	read_all(jobs, order, NULL, NULL);
	assert_int_equal(jobs->count, 1);
	is = begun_is_meant(&jobs->items[0]);
	assert_int_equal(is, jobs->items[0].is_ordered);
	free(jobs);
	return is;
}

static void same_order(void **state)
{
	static const char *turned[] = {"Rowan Fern", "mara"};
	struct head head = usual_head("fernhill-12", 0);
	struct order order = usual_order();

	(void)state;
	make_job("fernhill-12", &head, 0);
	assert_true(is_ordered(&order));
	order.name = NULL;
	assert_true(is_ordered(&order));
	order.name = "fern";
	assert_false(is_ordered(&order));
	order.name = "fernhill-1";
	assert_false(is_ordered(&order));
	order = usual_order();
	order.format = NULL;
	assert_false(is_ordered(&order));
	order = usual_order();
	order.same = NULL;
	assert_false(is_ordered(&order));
	order = usual_order();
	order.part_size = "4GiB";
	assert_false(is_ordered(&order));
	order = usual_order();
	order.leaves.count = 0;
	assert_false(is_ordered(&order));
	order = usual_order();
	order.persons.items = turned;
	assert_false(is_ordered(&order));
	order = usual_order();
	order.takes = order.leaves;
	assert_false(is_ordered(&order));
}

static void drives_by_size(void **state)
{
	struct begun_jobs *jobs = calloc(1, sizeof(*jobs));
	struct look_drive drives[] = {{.size = 2000}, {.size = 1000}, {.size = 5000}};
	struct look look = {.drives = drives, .n_drives = 3};
	struct head head = usual_head("fernhill", 0);

	(void)state;
	assert_non_null(jobs);
	make_job("fernhill", &head, 0);
	read_all(jobs, NULL, &look, &drives[2]);
	assert_true(jobs->items[0].may_be_here);
	/* Neither the destination nor the stick is one of its drives. */
	read_all(jobs, NULL, &look, &drives[1]);
	assert_false(jobs->items[0].may_be_here || begun_is_meant(&jobs->items[0]));
	drives[0].stick = true;
	read_all(jobs, NULL, &look, &drives[2]);
	assert_false(jobs->items[0].may_be_here);
	free(jobs);
}

static void many(void **state)
{
	struct begun_jobs *jobs = calloc(1, sizeof(*jobs));

	(void)state;
	assert_non_null(jobs);
	for (unsigned i = 0; i < BEGUN_MAX + 5; i++) {
		char name[20];
		struct head head;

		snprintf(name, sizeof(name), "job-%u", i);
		head = usual_head(name, i * 7 % 25);
		make_job(name, &head, i);
	}
	read_all(jobs, NULL, NULL, NULL);
	assert_int_equal(jobs->count, BEGUN_MAX);
	assert_true(jobs->more);
	for (size_t i = 1; i < BEGUN_MAX; i++)
		assert_true(jobs->items[i - 1].started >= jobs->items[i].started);
	assert_true(jobs->items[BEGUN_MAX - 1].started == filetime_from_unix(BEGUN + 5 * 60, 0));
	free(jobs);
}

/* Cut off anywhere, and with any byte changed: told or passed over, never gone on with wrongly. */
static void torn(void **state)
{
	struct begun_jobs *jobs = calloc(1, sizeof(*jobs));
	struct head head = usual_head("fernhill", 0);
	char command[200];

	(void)state;
	assert_non_null(jobs);
	make_job("fernhill", &head, 700);
	assert_int_equal(shell("cp fernhill/journal whole"), 0);
	for (unsigned length = 0; length < 1500; length += 37) {
		snprintf(command, sizeof(command), "head -c %u whole >fernhill/journal", length);
		assert_int_equal(shell(command), 0);
		read_all(jobs, NULL, NULL, NULL);
		assert_true(jobs->count <= 1);
		if (jobs->count == 1 && *jobs->items[0].problem == '\0')
			assert_string_equal(jobs->items[0].when, "2026-03-01 12:02");
	}
	assert_int_equal(shell("sed 's/coldlift [0-9.]*/coldlift 99/' whole >fernhill/journal"), 0);
	read_all(jobs, NULL, NULL, NULL);
	assert_int_equal(jobs->count, 0); /* its checksums are wrong: no line of ours */
	free(jobs);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(found_and_told, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(same_order, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(drives_by_size, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(many, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(torn, make_folder, remove_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
