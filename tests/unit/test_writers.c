/*
 * The writers, read back by other programs: unzip (Info-ZIP), Python's zipfile and tarfile, bsdtar.
 *
 * Expected values come from the definitions: PKWARE APPNOTE (DOS time), POSIX pax, [MS-DTYP]
 * FILETIME.
 */
#include "unit.h"

#include "scratch.h"

#include "base/buf.h"
#include "base/filetime.h"
#include "base/locale.h"
#include "extract/writer.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <signal.h>
#include <unistd.h>

#define MIB (1024 * 1024)

/* 2019-07-14 10:20:30.25 UTC, in summer; 12:20:30 in central Europe. */
static int64_t summer(void)
{
	return filetime_from_unix(1563099630, 250000000);
}

static void add_file(struct writer *writer, const char *path, const void *data, size_t length,
    bool compact)
{
	struct member member = {.kind = MEMBER_FILE, .path = path, .size = length,
	    .modified = summer(), .created = filetime_from_unix(1500000000, 0),
	    .accessed = filetime_from_unix(1600000000, 0), .is_compact = compact};
	struct error error;

	assert_true(writer_begin(writer, &member, &error));
	assert_true(writer_data(writer, data, length, &error));
	assert_true(writer_end(writer, &error));
}

static void add_folder(struct writer *writer, const char *path)
{
	struct member member = {.kind = MEMBER_FOLDER, .path = path, .modified = summer()};
	struct error error;

	assert_true(writer_begin(writer, &member, &error));
	assert_true(writer_end(writer, &error));
}

/* 8 MiB of file: 3 bytes, a gap, 2 bytes in the middle, a gap to the end. */
static void add_sparse(struct writer *writer, const char *path)
{
	static const struct hole data[] = {{0, 3}, {4 * MIB, 2}};
	struct member member = {.kind = MEMBER_FILE, .path = path, .size = 8 * MIB,
	    .modified = summer(), .data = data, .n_data = 2};
	struct error error;

	assert_true(writer_begin(writer, &member, &error));
	assert_true(writer_data(writer, "abc", 3, &error));
	assert_true(writer_zeros(writer, 4 * MIB - 3, &error));
	assert_true(writer_data(writer, "de", 2, &error));
	assert_true(writer_zeros(writer, 4 * MIB - 2, &error));
	assert_true(writer_end(writer, &error));
}

static void fill(struct writer *writer)
{
	static char plain[200000];

	memset(plain, 'x', sizeof(plain));
	add_folder(writer, "data/empty");
	add_file(writer, "data/plain.txt", plain, sizeof(plain), false);
	add_file(writer, "data/photo.jpg", plain, sizeof(plain), true);
	add_file(writer, "data/nothing", "", 0, false);
	add_file(writer, "data/Zoë/Äpfel 🍎.txt", "apples", 6, false);
	add_sparse(writer, "data/sparse.bin");
}

static void zip_is_read_by_others(void **state)
{
	struct writer_options options = {.zone = "CET-1CEST,M3.5.0,M10.5.0/3"};
	struct digest digest;
	struct error error;
	struct writer *writer;
	uint64_t bound;
	struct stat info;

	(void)state;
	writer = writer_open(FORMAT_ZIP, inside("a.zip"), &options, &error);
	assert_non_null(writer);
	fill(writer);
	bound = writer_size(writer);
	assert_int_equal(access(inside("a.zip"), F_OK), -1); /* unfinished */
	assert_true(writer_finish(writer, &digest, &error));
	assert_int_equal(stat(inside("a.zip"), &info), 0);
	assert_true((uint64_t)info.st_size <= bound && bound < (uint64_t)info.st_size + 4096);
	assert_int_equal(info.st_mode & 0777, 0600);
	assert_int_equal(access(inside("a.zip.unfinished"), F_OK), -1);
	assert_int_equal(shell("unzip -tqq a.zip"), 0);
	assert_int_equal(shell("bsdtar -tf a.zip >/dev/null"), 0);
	/* DOS time has steps of two seconds; the old PC's clock showed 12:20:30. */
	assert_int_equal(shell(
	    "/usr/bin/python3 - <<'E'\n"
	    "import zipfile, struct\n"
	    "z = zipfile.ZipFile('a.zip')\n"
	    "assert z.testzip() is None\n"
	    "n = [i.filename for i in z.infolist()]\n"
	    "assert n == ['data/empty/','data/plain.txt','data/photo.jpg','data/nothing',"
	    "'data/Zoë/Äpfel 🍎.txt','data/sparse.bin'], n\n"
	    "i = z.getinfo('data/plain.txt')\n"
	    "assert i.date_time == (2019,7,14,12,20,30), i.date_time\n"
	    "assert i.compress_type == 8 and i.compress_size < 1000\n"
	    "assert z.getinfo('data/photo.jpg').compress_type == 0\n"
	    "assert z.getinfo('data/Zoë/Äpfel 🍎.txt').flag_bits & 0x800\n"
	    "b = z.read('data/sparse.bin')\n"
	    "assert len(b) == 8 << 20 and b[:3] == b'abc' and b[4<<20:(4<<20)+2] == b'de'\n"
	    "assert b.count(0) == (8 << 20) - 5\n"
	    "E"), 0);
	/* Info-ZIP restores the exact second from the extended timestamp, in any zone. */
	assert_int_equal(shell("TZ=Asia/Tokyo unzip -q a.zip data/plain.txt && "
			       "test $(stat -c %Y data/plain.txt) = 1563099630"), 0);
}

static void zip_clamps_times(void **state)
{
	static const int64_t times[] = {0, 1, 864000000000, INT64_MAX, INT64_MIN};
	struct error error;
	struct writer *writer = writer_open(FORMAT_ZIP, inside("t.zip"), NULL, &error);

	(void)state;
	assert_non_null(writer);
	for (size_t i = 0; i < 5; i++) {
		char path[] = "data/0";
		struct member member = {.kind = MEMBER_FILE, .path = path, .modified = times[i]};

		path[5] = (char)('0' + i);
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_end(writer, &error));
	}
	assert_true(writer_finish(writer, NULL, &error));
	assert_int_equal(shell("/usr/bin/python3 -c \""
			       "import zipfile;"
			       "t=[i.date_time[0] for i in zipfile.ZipFile('t.zip').infolist()];"
			       "assert t==[1980,1980,1980,2107,1980], t\""), 0);
}

static void tar_is_read_by_others(void **state)
{
	struct error error;
	struct writer *writer = writer_open(FORMAT_TAR, inside("a.tar"), NULL, &error);
	struct member same = {.kind = MEMBER_SAME, .path = "data/second", .size = 6,
	    .same_as = "data/Zoë/Äpfel 🍎.txt", .modified = summer()};
	uint64_t bound;
	struct stat info;

	(void)state;
	assert_non_null(writer);
	fill(writer);
	assert_true(writer_begin(writer, &same, &error));
	assert_true(writer_end(writer, &error));
	bound = writer_size(writer);
	assert_true(writer_finish(writer, NULL, &error));
	assert_int_equal(stat(inside("a.tar"), &info), 0);
	assert_true((uint64_t)info.st_size <= bound);
	assert_true(info.st_size < 1 * MIB); /* the sparse file takes no room */
	assert_int_equal(shell(
	    "/usr/bin/python3 - <<'E'\n"
	    "import tarfile\n"
	    "t = tarfile.open('a.tar')\n"
	    "i = t.getmember('data/plain.txt')\n"
	    "assert i.size == 200000 and abs(i.mtime - 1563099630.25) < 1e-6, i.mtime\n"
	    "assert t.getmember('data/empty').isdir()\n"
	    "l = t.getmember('data/second')\n"
	    "assert l.islnk() and l.linkname == 'data/Zoë/Äpfel 🍎.txt'\n"
	    "assert t.extractfile(l).read() == b'apples'\n"
	    "b = t.extractfile('data/sparse.bin').read()\n"
	    "assert len(b) == 8 << 20 and b[:3] == b'abc' and b[4<<20:(4<<20)+2] == b'de'\n"
	    "assert b.count(0) == (8 << 20) - 5\n"
	    "E"), 0);
	assert_int_equal(shell("mkdir x && bsdtar -C x -xf a.tar && cd x/data && "
			       "test second -ef 'Zoë/Äpfel 🍎.txt' && "
			       "test $(stat -c %s sparse.bin) = 8388608"), 0);
}

static void folder_keeps_times(void **state)
{
	struct error error;
	struct writer *writer = writer_open(FORMAT_FOLDER, inside("files"), NULL, &error);
	struct member same = {.kind = MEMBER_SAME, .path = "data/second", .size = 6,
	    .same_as = "data/Zoë/Äpfel 🍎.txt", .modified = summer()};

	(void)state;
	assert_non_null(writer);
	fill(writer);
	assert_true(writer_begin(writer, &same, &error));
	assert_true(writer_end(writer, &error));
	assert_int_equal(access(inside("files"), F_OK), -1);
	assert_true(writer_finish(writer, NULL, &error));
	assert_int_equal(
	    shell("cd files/data && test $(stat -c %.2Y plain.txt) = 1563099630.25 && "
		  "test $(stat -c %Y empty) = 1563099630 && "
		  "test $(stat -c %a empty) = 700 && test $(stat -c %a plain.txt) = 600 && "
		  "test $(stat -c %s sparse.bin) = 8388608 && "
		  "test $(stat -c %b sparse.bin) -lt 1000 && "
		  "test second -ef 'Zoë/Äpfel 🍎.txt' && "
		  "test $(tail -c 4194304 sparse.bin | head -c 2) = de"),
	    0);
}

/* A path of 40 names of 200 bytes is longer than the 4,096 bytes that Linux takes at once. */
static void folder_takes_long_paths(void **state)
{
	struct error error;
	struct writer *writer = writer_open(FORMAT_FOLDER, inside("deep"), NULL, &error);
	struct buf path = {0};

	(void)state;
	assert_non_null(writer);
	buf_add_text(&path, "data");
	for (int i = 0; i < 40; i++)
		buf_printf(&path, "/%0200d", i);
	buf_add_text(&path, "/leaf");
	add_file(writer, buf_text(&path), "leaf", 4, false);
	assert_true(writer_finish(writer, NULL, &error));
	assert_int_equal(shell("test $(find deep -name leaf | wc -l) = 1"), 0);
	buf_free(&path);
}

/* RLIMIT_FSIZE stands for a destination that takes no more. */
static void full_destination_is_an_error(void **state)
{
	static char data[400000];
	struct rlimit old, small;
	struct error error = {0};

	(void)state;
	signal(SIGXFSZ, SIG_IGN);
	assert_int_equal(getrlimit(RLIMIT_FSIZE, &old), 0);
	small = old;
	small.rlim_cur = 150000;
	for (size_t i = 0; i < sizeof(data); i++)
		data[i] = (char)(i * 2654435761u >> 13);
	for (int format = FORMAT_ZIP; format <= FORMAT_FOLDER; format++) {
		struct member member = {.kind = MEMBER_FILE, .path = "data/x",
		    .size = sizeof(data), .is_compact = true};
		struct writer *writer = writer_open((enum format)format, inside("full"), NULL,
		    &error);
		bool good;

		assert_non_null(writer);
		assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
		good = writer_begin(writer, &member, &error) &&
		    writer_data(writer, data, sizeof(data), &error) && writer_end(writer, &error);
		if (good) {
			good = writer_finish(writer, NULL, &error);
		} else {
			writer_abandon(writer);
		}
		assert_int_equal(setrlimit(RLIMIT_FSIZE, &old), 0);
		assert_false(good);
		assert_int_equal(error.status, STATUS_DESTINATION);
		assert_int_equal(access(inside("full"), F_OK), -1);
	}
	assert_int_equal(access(inside("full.unfinished"), F_OK), 0); /* the folder stays, marked */
	assert_int_equal(shell("rm -r full.unfinished"), 0);
}

static void taken_names_are_refused(void **state)
{
	struct error error = {0};

	(void)state;
	assert_int_equal(shell("touch b.zip.unfinished"), 0);
	assert_null(writer_open(FORMAT_ZIP, inside("b.zip"), NULL, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_int_equal(access(inside("b.zip.unfinished"), F_OK), 0); /* not ours: not removed */
	assert_null(writer_open(FORMAT_TAR, inside("no/such/folder.tar"), NULL, &error));
}

/* The examples of FIPS 180-4 (NIST, "Examples with Intermediate Values": SHA-256). */
static void digest_of_examples(void **state)
{
	struct sha256_ctx context, plain;
	struct digest digest = digest_of("abc", 3), other;
	static const uint8_t zeros[100000];

	(void)state;
	assert_string_equal(digest_to_text(&digest).text,
	    "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
	digest = digest_of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56);
	assert_string_equal(digest_to_text(&digest).text,
	    "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
	sha256_init(&context);
	digest_zeros(&context, sizeof(zeros));
	digest = digest_take(&context);
	sha256_init(&plain);
	sha256_update(&plain, sizeof(zeros), zeros);
	other = digest_take(&plain);
	assert_true(digest_equal(&digest, &other));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(digest_of_examples),
	    cmocka_unit_test_setup_teardown(zip_is_read_by_others, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(zip_clamps_times, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(tar_is_read_by_others, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(folder_keeps_times, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(folder_takes_long_paths, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(full_destination_is_an_error, make_folder,
		remove_folder),
	    cmocka_unit_test_setup_teardown(taken_names_are_refused, make_folder, remove_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
