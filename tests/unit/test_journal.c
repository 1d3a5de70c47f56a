/*
 * The journal of a job: what was synced comes back, what was torn does not count. Its checksum is
 * the CRC-32 of ISO 3309; the check value of "123456789" is cbf43926 (the catalogue of parametrised
 * CRC algorithms, CRC-32/ISO-HDLC). The rest is the project's own rule.
 */
#include "unit.h"

#include "extract/head.h"
#include "extract/journal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[] = "/tmp/coldlift-journal-XXXXXX";
static char path[100];

struct seen {
	size_t count, stop_after;
	json_int_t last;
	uint64_t end;
};

static bool see(void *about, const json_t *object, uint64_t end, struct error *error)
{
	struct seen *seen = about;
	const json_t *number = json_object_get(object, "n");

	seen->count++;
	seen->end = end;
	if (json_is_integer(number))
		seen->last = json_integer_value(number);
	return seen->count != seen->stop_after || error_set(error, STATUS_OTHER, "enough");
}

static void add(struct journal *journal, const char *json)
{
	struct buf buf = {0};
	struct error error;

	buf_add_text(&buf, json);
	assert_true(journal_add(journal, &buf, &error));
	buf_free(&buf);
}

static void make(struct journal *journal, unsigned lines)
{
	struct buf page = {0};
	struct error error;
	char json[40];

	unlink(path);
	buf_add_text(&page, "# The job is not complete.\n#\n# {\"n\":99} 00000000\n");
	assert_true(journal_create(journal, path, &page, &error));
	buf_free(&page);
	for (unsigned i = 0; i < lines; i++) {
		snprintf(json, sizeof(json), "{\"n\":%u}", i);
		add(journal, json);
	}
	assert_true(journal_sync(journal, &error));
}

static struct seen read_all(void)
{
	struct seen seen = {.last = -1};
	struct error error = {0};

	assert_true(journal_read(path, see, &seen, &error));
	return seen;
}

static char *content(size_t *length)
{
	static char text[4096];
	FILE *file = fopen(path, "rb");

	assert_non_null(file);
	*length = fread(text, 1, sizeof(text), file);
	fclose(file);
	return text;
}

static void put(const char *text, size_t length)
{
	FILE *file = fopen(path, "wb");

	assert_non_null(file);
	assert_int_equal(fwrite(text, 1, length, file), length);
	assert_int_equal(fclose(file), 0);
}

static void test_there_and_back(void **state)
{
	struct journal journal;
	struct seen seen;
	struct error error;

	(void)state;
	make(&journal, 5);
	seen = read_all();
	assert_int_equal(seen.count, 5);
	assert_int_equal(seen.last, 4);
	assert_int_equal(seen.end, journal.size);
	/* What was added and not synced is nowhere. */
	add(&journal, "{\"n\":5}");
	journal_close(&journal);
	assert_int_equal(read_all().count, 5);
	seen = (struct seen){.stop_after = 2};
	assert_false(journal_read(path, see, &seen, &error));
	assert_string_equal(error.text, "enough");
}

static void test_check_value(void **state)
{
	static const char line[] = "123456789 cbf43926\n{\"n\":7} ";
	struct seen seen = {.last = -1};
	struct error error;

	(void)state;
	/* Right by its checksum, but no object: the end. Wrong by it: the end, too. */
	put(line, sizeof(line) - 1);
	assert_true(journal_read(path, see, &seen, &error));
	assert_int_equal(seen.count, 0);
	put("{} 00000000\n", 12);
	assert_int_equal(read_all().count, 0);
	/* CRC-32 of "{}", from Python's zlib.crc32(). */
	put("{} a3a6bf43\n", 12);
	assert_int_equal(read_all().count, 1);
}

/* However the file was torn, what comes back is its beginning, line by line. */
static void test_torn(void **state)
{
	struct journal journal;
	char whole[4096];
	size_t length, page;

	(void)state;
	make(&journal, 20);
	journal_close(&journal);
	memcpy(whole, content(&length), sizeof(whole));
	page = (size_t)(strchr(strstr(whole, "99}"), '\n') + 1 - whole);
	for (size_t cut = 0; cut < length; cut++) {
		size_t lines = 0;

		put(whole, cut);
		for (size_t i = page; i < cut; i++)
			lines += whole[i] == '\n';
		assert_int_equal(read_all().count, lines);
	}
	/* Any byte that is wrong ends it there; what stands behind it does not count. */
	for (size_t at = page; at < length; at++) {
		size_t lines = 0;

		for (size_t i = page; i < at; i++)
			lines += whole[i] == '\n';
		whole[at] ^= 1;
		put(whole, length);
		whole[at] ^= 1;
		assert_int_equal(read_all().count, lines);
	}
}

static void test_cut_and_go_on(void **state)
{
	struct journal journal;
	struct seen seen;
	struct error error;
	uint64_t end;

	(void)state;
	make(&journal, 3);
	end = journal.size;
	add(&journal, "{\"n\":50}");
	assert_true(journal_sync(&journal, &error));
	journal_close(&journal);
	assert_true(journal_open(&journal, path, end, &error));
	add(&journal, "{\"n\":60}");
	assert_true(journal_sync(&journal, &error));
	journal_close(&journal);
	seen = read_all();
	assert_int_equal(seen.count, 4);
	assert_int_equal(seen.last, 60);
}

static void test_hostile(void **state)
{
	static char line[3 << 20];
	struct journal journal;
	struct error error;

	(void)state;
	unit_limit_processor_time(20);
	memset(line, '[', sizeof(line));
	put(line, sizeof(line));
	assert_int_equal(read_all().count, 0);
	memset(line, '\n', sizeof(line));
	put(line, sizeof(line));
	assert_int_equal(read_all().count, 0);
	memset(line, 0, sizeof(line));
	put(line, sizeof(line));
	assert_int_equal(read_all().count, 0);
	/* Nothing is opened through a link. */
	unlink(path);
	assert_int_equal(symlink("/dev/null", path), 0);
	assert_false(journal_open(&journal, path, 0, &error));
	unlink(path);
	assert_false(journal_open(&journal, path, 0, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
}

/* --- the head --- */

static const char *const patterns[] = {"D:\\Photos\\**", "\"*\\\xC3\xA4\n"};

static struct head example(void)
{
	static struct identity sources[2] = {
	    {"/dev/sdb", "Plum P-7", "0815", 500000000000, {{1, 2, 3}}},
	    {"old \xC3\xA4.img", "", "", 7, {{255}}}};

	return (struct head){.name = "FERNHILL-PC-2026-07-01",
	    .started = INT64_C(134000000000000001),
	    .fixed_clock = true,
	    .format = FORMAT_TAR,
	    .same = SAME_EACH,
	    .part_limit = 5000000,
	    .limit = 4000000,
	    .choices = {.persons = patterns, .n_persons = 1, .leaves = patterns, .n_leaves = 2},
	    .sources = sources,
	    .n_sources = 2,
	    .n_items = 77,
	    .plan = {{9, 8, 7}}};
}

static void test_head(void **state)
{
	struct head head = example();
	struct journal journal;
	struct head_read read;
	struct error error;
	uint64_t end;

	(void)state;
	make(&journal, 0);
	assert_true(head_write(&journal, &head, &error));
	end = journal.size;
	add(&journal, "{\"done\":[]}");
	assert_true(journal_sync(&journal, &error));
	assert_true(head_read(&read, path, &error));
	assert_int_equal(read.noted, end);
	assert_int_equal(read.stored, 0);
	assert_string_equal(read.head.name, head.name);
	assert_int_equal(read.head.started, head.started);
	assert_true(read.head.fixed_clock);
	assert_int_equal(read.head.format, FORMAT_TAR);
	assert_int_equal(read.head.same, SAME_EACH);
	assert_int_equal(read.head.part_limit, 5000000);
	assert_int_equal(read.head.limit, 4000000);
	assert_int_equal(read.head.choices.n_persons, 1);
	assert_int_equal(read.head.choices.n_takes, 0);
	assert_int_equal(read.head.choices.n_leaves, 2);
	assert_string_equal(read.head.choices.leaves[1], patterns[1]);
	assert_int_equal(read.head.n_sources, 2);
	assert_string_equal(read.head.sources[0].serial, "0815");
	assert_string_equal(read.head.sources[1].path, "old \xC3\xA4.img");
	assert_true(digest_equal(&read.head.sources[1].digest, &head.sources[1].digest));
	assert_int_equal(read.head.n_items, 77);
	assert_true(digest_equal(&read.head.plan, &head.plan));
	head_read_free(&read);
	add(&journal, "{\"checkpoint\":{\"stored\":12345}}");
	assert_true(journal_sync(&journal, &error));
	end = journal.size;
	add(&journal, "{\"done\":[]}");
	assert_true(journal_sync(&journal, &error));
	assert_true(head_read(&read, path, &error));
	assert_int_equal(read.noted, end);
	assert_int_equal(read.stored, 12345);
	head_read_free(&read);
	journal_close(&journal);
}

/* A head that is not whole, or not ours, is refused in words. */
static void test_head_refused(void **state)
{
	static const char *const firsts[] = {"{\"journal\":1}", "{\"n\":1}",
	    "{\"journal\":1,\"program\":\"other 7\",\"job\":\"x\",\"clock\":1}"};
	struct head head = example();
	struct journal journal;
	struct head_read read;
	struct error error;

	(void)state;
	for (size_t i = 0; i < sizeof(firsts) / sizeof(firsts[0]); i++) {
		make(&journal, 0);
		add(&journal, firsts[i]);
		assert_true(journal_sync(&journal, &error));
		assert_false(head_read(&read, path, &error));
		assert_non_null(strstr(error.text, "without --resume"));
		head_read_free(&read);
		journal_close(&journal);
	}
	make(&journal, 0);
	assert_true(head_write(&journal, &head, &error));
	assert_int_equal(truncate(path, (off_t)journal.size - 1), 0);
	assert_false(head_read(&read, path, &error));
	assert_non_null(strstr(error.text, "before anything of it was kept"));
	head_read_free(&read);
	journal_close(&journal);
	head.name = "../up";
	make(&journal, 0);
	assert_true(head_write(&journal, &head, &error));
	assert_false(head_read(&read, path, &error));
	head_read_free(&read);
	journal_close(&journal);
}

static int begin(void **state)
{
	(void)state;
	if (mkdtemp(folder) == NULL)
		return -1;
	snprintf(path, sizeof(path), "%s/journal", folder);
	return 0;
}

static int end_all(void **state)
{
	(void)state;
	unlink(path);
	return rmdir(folder);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_there_and_back),
	    cmocka_unit_test(test_check_value),
	    cmocka_unit_test(test_torn),
	    cmocka_unit_test(test_cut_and_go_on),
	    cmocka_unit_test(test_hostile),
	    cmocka_unit_test(test_head),
	    cmocka_unit_test(test_head_refused),
	};

	return cmocka_run_group_tests(tests, begin, end_all);
}
