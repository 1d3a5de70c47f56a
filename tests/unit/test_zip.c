/*
 * Tests of the zip writer as a whole: the same bytes whatever the timing, entries taken back, and
 * bounds that hold. Taking back also for tar and folder.
 *
 * References: unzip (Info-ZIP) and Python's zipfile for what was written, sha256sum (GNU coreutils)
 * for its digest. Records are tested in test_zip_format.c, calls that fail in test_zip_faults.c,
 * large files and other readers in tests/run/zip_readers.py.
 */
#include "unit.h"

#include "scratch.h"
#include "zip_content.h"

#include "extract/crew.h"
#include "extract/writer.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void test_same_bytes_whatever_the_timing(void **state)
{
	static const struct manner manners[] = {{0, 0}, {4000, 0}, {PACK_CHUNK + 7, 3000}};
	static const unsigned workers[] = {1, 2, 8};
	struct digest first = write_zip("first.zip", 1, &manners[0]), other;

	(void)state;
	check_digest("first.zip", &first);
	assert_int_equal(shell("unzip -tqq first.zip"), 0);
	for (unsigned i = 1; i < 3; i++) {
		other = write_zip("other.zip", workers[i], &manners[i]);
		assert_true(digest_equal(&first, &other));
		assert_int_equal(shell("cmp first.zip other.zip && rm other.zip"), 0);
	}
}

static void test_content(void **state)
{
	static const struct manner manner;
	FILE *file;

	(void)state;
	write_zip("a.zip", 3, &manner);
	file = fopen(inside("noise"), "wb");
	assert_non_null(file);
	assert_int_equal(fwrite(noise, 1, 20 * MIB, file), 20 * MIB);
	fclose(file);
	file = fopen(inside("words"), "wb");
	assert_non_null(file);
	assert_int_equal(fwrite(words, 1, 20 * MIB, file), 20 * MIB);
	fclose(file);
	/* APPNOTE 4.4.5: method 0 is stored, 8 deflated. */
	assert_int_equal(shell(
	    "/usr/bin/python3 - <<'E'\n"
	    "import zipfile\n"
	    "M = 1 << 20\n"
	    "noise, words = open('noise', 'rb').read(), open('words', 'rb').read()\n"
	    "z = zipfile.ZipFile('a.zip')\n"
	    "def one(i, length, data, method):\n"
	    "  n = z.getinfo('data/Zoë/%02d' % i)\n"
	    "  assert z.read(n) == data[8 * i:8 * i + length], i\n"
	    "  assert n.compress_type == method, (i, n)\n"
	    "  assert n.compress_size <= length + length // 8192 + 9, (i, n)\n"
	    "for i, (length, data, method) in enumerate([(0, words, 0), (1, words, 0),\n"
	    "  (5000, words, 8), (5000, noise, 0), (M - 1, words, 8), (M, words, 8),\n"
	    "  (M + 1, words, 8), (M, noise, 0), (3 * M, noise, 0), (3 * M + 77, words, 8),\n"
	    "  (8 * M, words, 8), (8 * M + 1, noise, 8), (9 * M, words, 8), (9 * M, noise, 0),\n"
	    "  (700, noise, 0), (2 * M, words, 0)]):\n"
	    "  one(i, length, data, method)\n"
	    "for i in range(700):\n"
	    "  assert z.read('data/small/%d' % i) == words[100 * i:103 * i], i\n"
	    "b = z.read('data/sparse')\n"
	    "assert b == noise[:3 * M + 5] + bytes(17 * M - 5) + words[:4 * M]\n"
	    "assert len(z.infolist()) == 1 + 16 + 700 + 1\n"
	    "E"), 0);
}

/* Writers that share a crew and take turns, also while members of others are not written yet. */
static void test_many_parts_with_one_crew(void **state)
{
	static const struct manner manner;
	struct crew *crew = crew_open(2);
	struct writer_options options = {.crew = crew};
	struct writer *writers[20];
	struct digest digest;
	struct error error;
	char name[40];

	(void)state;
	assert_non_null(crew);
	for (int i = 0; i < 20; i++) {
		snprintf(name, sizeof(name), "%d.%s", i, i % 5 == 4 ? "tar" : "zip");
		writers[i] = writer_open(i % 5 == 4 ? FORMAT_TAR : FORMAT_ZIP, inside(name),
		    &options, &error);
		assert_non_null(writers[i]);
	}
	for (size_t i = 0; i < 400; i++) {
		size_t length = i % 90 == 49 ? 9 * MIB : i % 11 == 10 ? 2 * MIB : i * 100;

		snprintf(name, sizeof(name), "data/%zu", i);
		assert_true(add_file(writers[i * 7 % 20], name, i % 3 == 0 ? noise : words, length,
		    false, &manner, &error));
	}
	for (int i = 0; i < 20; i++) {
		char script[100];

		if (i == 13) {
			writer_abandon(writers[i]);
			continue;
		}
		assert_true(writer_finish(writers[i], &digest, &error));
		snprintf(name, sizeof(name), "%d.%s", i, i % 5 == 4 ? "tar" : "zip");
		check_digest(name, &digest);
		snprintf(script, sizeof(script), i % 5 == 4 ?
			"test $(tar -tf %s | wc -l) = 20" :
			"unzip -tqq %s && test $(unzip -Z1 %s | wc -l) = 20", name, name);
		assert_int_equal(shell(script), 0);
	}
	assert_int_equal(shell("test ! -e 13.zip && test ! -e 13.zip.unfinished"), 0);
	crew_close(crew);
}

/* Every member that is taken back after so many bytes leaves no trace. */
static void take_back_some(enum format format, const char *name, bool with_taken_back)
{
	static const size_t lengths[] = {0, 1, 5000, MIB, MIB + 1, 3 * MIB, 10 * MIB};
	static const struct manner manner = {300000, 0};
	struct writer_options options = {.workers = 2};
	struct error error;
	struct writer *writer = writer_open(format, inside(name), &options, &error);
	char path[60];

	assert_non_null(writer);
	for (unsigned i = 0; i < 2 * 7 * 3; i++) {
		struct member member = {.kind = MEMBER_FILE, .path = path,
		    .size = lengths[i / 3 % 7], .modified = INT64_C(132000000000000000),
		    .is_compact = i / 21};
		const uint8_t *data = i % 5 == 0 ? words : noise;
		size_t part = i % 3 == 0 ? 0 : i % 3 == 1 ? member.size / 2 : member.size;
		uint64_t before;

		snprintf(path, sizeof(path), "data/kept-%02u", i);
		assert_true(add_file(writer, path, noise + i, 1000 + 30000 * (i % 5), false, &manner,
		    &error));
		if (!with_taken_back)
			continue;
		before = writer_size(writer);
		snprintf(path, sizeof(path), "data/new %u/faulty/it", i / 2);
		assert_true(writer_begin(writer, &member, &error));
		assert_true(hand_over(writer, data, part, &manner, &error));
		assert_true(writer_take_back(writer, &error));
		assert_int_equal(writer_size(writer), before);
		/* Of the three kinds the two others, too. */
		member = (struct member){.kind = MEMBER_FOLDER, .path = "data/faulty folder"};
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_take_back(writer, &error));
		if (format == FORMAT_ZIP)
			continue;
		member = (struct member){.kind = MEMBER_SAME, .path = "data/new/faulty link",
		    .same_as = "data/kept-00"};
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_take_back(writer, &error));
	}
	assert_true(writer_finish(writer, NULL, &error));
}

static void test_take_back(void **state)
{
	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_FOLDER; format++) {
		take_back_some((enum format)format, "without", false);
		take_back_some((enum format)format, "with", true);
		assert_int_equal(shell("diff -r without with && rm -r without with"), 0);
	}
}

/* What was taken back takes no room any more. */
static void test_take_back_frees_room(void **state)
{
	struct member member = {.kind = MEMBER_FILE, .path = "data/x", .size = 20 * MIB};
	struct error error;
	struct stat info;

	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_TAR; format++) {
		struct writer *writer = writer_open((enum format)format, inside("part"), NULL,
		    &error);
		uint64_t before;

		assert_non_null(writer);
		before = writer_size(writer);
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_data(writer, noise, 19 * MIB, &error));
		assert_true(writer_take_back(writer, &error));
		assert_int_equal(writer_size(writer), before);
		assert_true(writer_has_room(writer, 100, before + 100));
		assert_true(writer_finish(writer, NULL, &error));
		assert_int_equal(stat(inside("part"), &info), 0);
		assert_true((uint64_t)info.st_size <= before);
		assert_int_equal(unlink(inside("part")), 0);
	}
}

/* writer_size() is the truth, writer_cost() a bound, and writer_has_room() goes by the truth. */
static void test_bounds(void **state)
{
	static const struct manner manner;
	struct error error;
	struct writer *writer = writer_open(FORMAT_ZIP, inside("b.zip"), NULL, &error);
	uint64_t size, bound;
	struct stat info;
	char path[1000];

	(void)state;
	assert_non_null(writer);
	size = bound = writer_size(writer);
	for (unsigned i = 0; i < 60; i++) {
		size_t length = i < 30 ? i * 37777 : i % 6 * 3 / 2 * MIB + i * i * i;
		struct member member = {.kind = MEMBER_FOLDER, .path = path, .modified = 1,
		    .accessed = 1, .created = 1};

		memset(path, 'n', sizeof(path));
		path[i % 10 * 100 + 10] = '\0';
		snprintf(path, 10, "data/%03u", i);
		path[8] = '-';
		bound += writer_cost(FORMAT_ZIP, path, i % 4 == 3 ? 0 : length);
		if (i % 4 == 3)
			assert_true(writer_begin(writer, &member, &error) &&
			    writer_end(writer, &error));
		else
			assert_true(add_file(writer, path, i % 4 == 1 ? words : noise, length,
			    i % 5 == 0, &manner, &error));
		if (i % 3 == 0) {
			uint64_t now = writer_size(writer);

			assert_true(now > size && now <= bound);
			size = bound = now;
		}
	}
	size = writer_size(writer);
	assert_true(writer_has_room(writer, 1000, size + 1000));
	assert_false(writer_has_room(writer, 1001, size + 1000));
	assert_false(writer_has_room(writer, UINT64_MAX, size));
	assert_false(writer_has_room(writer, 0, 0));
	/* What compresses well has room although its bound has none. */
	assert_true(add_file(writer, "data/words", words, 9 * MIB, false, &manner, &error));
	assert_true(writer_has_room(writer, 0, size + 5 * MIB));
	size = writer_size(writer);
	assert_true(writer_finish(writer, NULL, &error));
	assert_int_equal(stat(inside("b.zip"), &info), 0);
	assert_int_equal(info.st_size, size);
}

/* Random ranges of data in a sparse file: as much as pieces.c counts on at most. */
static void test_sparse_files_stay_small(void **state)
{
	struct hole data[64];
	uint32_t random = 5;
	struct error error;
	uint64_t before, after;

	(void)state;
	for (unsigned n = 1; n <= 64; n += 21) {
		struct writer *writer = writer_open(FORMAT_ZIP, inside("s.zip"), NULL, &error);
		struct member member = {.kind = MEMBER_FILE, .path = "data/sparse", .data = data,
		    .n_data = n};
		uint64_t at = 0, filled = 0;

		assert_non_null(writer);
		for (unsigned i = 0; i < n; i++) {
			random = random * 1664525 + 1013904223;
			at += (1 + (random >> 28)) * 4096;
			data[i] = (struct hole){at, (1 + (random >> 12 & 0x1F)) * 4096};
			at += data[i].length;
			filled += data[i].length;
		}
		member.size = at + 30 * MIB;
		before = writer_size(writer);
		assert_true(writer_begin(writer, &member, &error));
		at = 0;
		for (unsigned i = 0; i < n; i++) {
			assert_true(writer_zeros(writer, data[i].offset - at, &error));
			assert_true(writer_data(writer, noise + i * 77, data[i].length, &error));
			at = data[i].offset + data[i].length;
		}
		assert_true(writer_zeros(writer, member.size - at, &error));
		assert_true(writer_end(writer, &error));
		after = writer_size(writer);
		assert_true(after - before <= writer_cost(FORMAT_ZIP, member.path,
		    filled + (member.size - filled) / 200 + n * 1024));
		assert_true(writer_finish(writer, NULL, &error));
		assert_int_equal(shell("unzip -tqq s.zip && rm s.zip"), 0);
	}
}

static void test_wrong_sizes(void **state)
{
	struct member member = {.kind = MEMBER_FILE, .path = "data/x", .size = 10};
	struct error error = {0};

	(void)state;
	for (int i = 0; i < 2; i++) {
		struct writer *writer = writer_open(FORMAT_ZIP, inside("w.zip"), NULL, &error);

		assert_non_null(writer);
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_data(writer, "123456789", 9, &error));
		assert_false(i == 0 ? writer_end(writer, &error) :
				      writer_data(writer, "01", 2, &error));
		assert_int_equal(error.status, STATUS_OTHER);
		writer_abandon(writer);
	}
	assert_int_equal(access(inside("w.zip.unfinished"), F_OK), -1);
}

/* Given up after any number of bytes: ends at once, nothing stays. */
static void test_abandon(void **state)
{
	static const size_t sent[] = {0, 100, MIB, 3 * MIB, 14 * MIB};

	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_TAR; format++) {
		for (unsigned i = 0; i < 5; i++) {
			struct member member = {.kind = MEMBER_FILE, .path = "data/x",
			    .size = 15 * MIB};
			struct error error;
			struct writer *writer = writer_open((enum format)format, inside("gone"),
			    NULL, &error);

			assert_non_null(writer);
			assert_true(writer_begin(writer, &member, &error));
			assert_true(writer_data(writer, words, sent[i], &error));
			writer_abandon(writer);
			assert_int_equal(shell("test -z \"$(ls)\""), 0);
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(test_same_bytes_whatever_the_timing, make_folder,
		remove_folder),
	    cmocka_unit_test_setup_teardown(test_content, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_many_parts_with_one_crew, make_folder,
		remove_folder),
	    cmocka_unit_test_setup_teardown(test_take_back, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_take_back_frees_room, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_bounds, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_sparse_files_stay_small, make_folder,
		remove_folder),
	    cmocka_unit_test_setup_teardown(test_wrong_sizes, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_abandon, make_folder, remove_folder),
	};

	return cmocka_run_group_tests(tests, make_content, free_content);
}
