/*
 * Tests of files that are changed behind the place up to which they are hashed.
 *
 * Reference: sha256sum (GNU coreutils) of what stands on the disk.
 */
#include "unit.h"

#include "scratch.h"

#include "extract/durable.h"
#include "extract/part_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* --- what the system is told about the bytes: these stand before the library's functions --- */

static struct durable *watched; /* NULL: nobody asks */
static unsigned n_started, n_forgotten;
static uint64_t started_to;

int sync_file_range(int fd, off_t offset, off_t length, unsigned flags)
{
	(void)fd;
	assert_non_null(watched);
	/* With a flag to wait it would take failures away from fsync() (sync_file_range(2)). */
	assert_int_equal(flags, SYNC_FILE_RANGE_WRITE);
	assert_true(offset >= 0 && (uint64_t)(offset + length) <= watched->size);
	started_to = (uint64_t)(offset + length);
	n_started++;
	errno = EIO;
	return -1; /* which is no failure */
}

int posix_fadvise(int fd, off_t offset, off_t length, int advice)
{
	(void)fd;
	assert_int_equal(advice, POSIX_FADV_DONTNEED);
	/* What is to be read back stays in memory. */
	assert_true(offset >= 0 && (uint64_t)(offset + length) <= watched->hashed);
	n_forgotten++;
	return 0;
}

/* The file is there, has that digest by sha256sum, and that many bytes. */
static void check_file(const struct digest *digest, long size)
{
	char script[300];

	snprintf(script, sizeof(script),
	    "test $(stat -c %%s part) = %ld && echo '%s  part' | sha256sum --status -c -", size,
	    digest_to_text(digest).text);
	assert_int_equal(shell(script), 0);
}

static void test_patch(void **state)
{
	static char data[700000];
	struct digest digest;
	struct durable file;
	struct error error;

	(void)state;
	memset(data, 'b', sizeof(data));
	assert_true(durable_open(&file, inside("part"), &error));
	assert_true(durable_write(&file, "before ", 7, &error));
	durable_leave_open(&file);
	assert_true(durable_write(&file, "????", 4, &error));
	assert_true(durable_write(&file, data, sizeof(data), &error));
	assert_false(durable_catch_up(&file, UINT64_MAX)); /* it may still change */
	assert_int_equal(file.hashed, 7);
	assert_true(durable_patch(&file, 7, "head", 4, &error));
	durable_settle(&file);
	assert_true(durable_write(&file, "after", 5, &error)); /* while the hash is behind */
	assert_int_equal(file.hashed, 7);
	assert_true(durable_catch_up(&file, 300000));
	assert_int_equal(file.hashed, 300007);
	assert_false(durable_catch_up(&file, UINT64_MAX));
	assert_int_equal(file.hashed, file.size);
	assert_true(durable_write(&file, "!", 1, &error));
	assert_int_equal(file.hashed, file.size); /* up to date again: hashed on the way */
	assert_true(durable_finish(&file, &digest, &error));
	check_file(&digest, 7 + 4 + 700000 + 5 + 1);
}

static void test_catches_up_at_the_end(void **state)
{
	struct digest digest;
	struct durable file;
	struct error error;

	(void)state;
	assert_true(durable_open(&file, inside("part"), &error));
	durable_leave_open(&file);
	assert_true(durable_write(&file, "????????", 8, &error));
	assert_true(durable_patch(&file, 0, "Fernhill", 8, &error));
	durable_settle(&file);
	assert_true(durable_finish(&file, &digest, &error));
	check_file(&digest, 8);
}

static void test_go_back(void **state)
{
	struct durable_mark mark;
	struct digest digest;
	struct durable file;
	struct error error;

	(void)state;
	assert_true(durable_open(&file, inside("part"), &error));
	assert_true(durable_write(&file, "kept ", 5, &error));
	mark = durable_mark(&file);
	assert_true(durable_write(&file, "hashed already", 14, &error));
	assert_true(durable_go_back(&file, &mark, &error));
	assert_true(durable_write(&file, "too ", 4, &error));
	mark = durable_mark(&file);
	durable_leave_open(&file);
	assert_true(durable_write(&file, "not hashed", 10, &error));
	assert_true(durable_go_back(&file, &mark, &error));
	assert_true(durable_write(&file, "end", 3, &error));
	assert_true(durable_finish(&file, &digest, &error));
	check_file(&digest, 12);
}

/* Somebody cuts the file: that is a failure, and nothing stays under the good name. */
static void test_cut_file(void **state)
{
	struct error error = {0};
	struct durable file;

	(void)state;
	assert_true(durable_open(&file, inside("part"), &error));
	durable_leave_open(&file);
	assert_true(durable_write(&file, "much", 4, &error));
	durable_settle(&file);
	assert_int_equal(truncate(file.temporary, 1), 0);
	assert_false(durable_finish(&file, NULL, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_int_equal(access(inside("part"), F_OK), -1);
}

#define MIB (1 << 20)

static void write_much(struct durable *file, int mebibytes)
{
	static char data[MIB + 1];
	struct error error;

	for (int i = 0; i < mebibytes; i++) {
		memset(data, i, sizeof(data));
		assert_true(durable_write(file, data, sizeof(data), &error));
	}
}

/* A large file is on its way to the drive while it is written, also after going back. */
static void test_starts_early(void **state)
{
	struct durable_mark mark;
	struct digest digest;
	struct durable file;
	struct error error;

	(void)state;
	assert_true(durable_open(&file, inside("part"), &error));
	watched = &file;
	write_much(&file, 7);
	assert_int_equal(n_started, 0);
	write_much(&file, 1);
	assert_int_equal(n_started, 1);
	mark = durable_mark(&file);
	durable_leave_open(&file);
	write_much(&file, 70);
	assert_int_equal(n_started, 9);
	assert_true(durable_go_back(&file, &mark, &error));
	durable_leave_open(&file);
	write_much(&file, 72);
	assert_true(file.size - started_to < 8 * MIB);
	assert_int_equal(n_forgotten, 2); /* twice what is in front of the open place */
	durable_settle(&file);
	durable_catch_up(&file, UINT64_MAX);
	write_much(&file, 8);
	assert_true(n_forgotten > 2);
	assert_true(durable_finish(&file, &digest, &error));
	watched = NULL;
	check_file(&digest, 88L * (MIB + 1));
}

/* Any mix of small and large pieces, marks and ways back leaves what a plain buffer would hold. */
static void test_part_file(void **state)
{
	static uint8_t bytes[300000], copy[8000000];
	uint32_t random = 1;
	struct digest digest, expected;
	struct part_file file;
	struct error error;
	size_t size = 0, marked = 0;

	(void)state;
	assert_true(part_file_open(&file, inside("part"), &error));
	part_file_mark(&file);
	for (int i = 0; i < 4000; i++) {
		size_t length;

		random = random * 1664525 + 1013904223;
		length = random >> 8 & 0xFF;
		if (random >> 28 == 0)
			length = random % sizeof(bytes);
		if (random >> 27 == 3) {
			part_file_mark(&file);
			marked = size;
		} else if (random >> 26 == 9) {
			part_file_go_back(&file);
			size = marked;
		} else if (random >> 26 == 11) {
			part_file_flush(&file);
		} else if (random >> 27 == 7) {
			memset(part_file_room(&file), i, length % PART_FILE_ROOM);
			part_file_added(&file, length % PART_FILE_ROOM);
			memset(copy + size, i, length % PART_FILE_ROOM);
			size += length % PART_FILE_ROOM;
		} else {
			memset(bytes, i, length);
			part_file_add(&file, bytes, length);
			memcpy(copy + size, bytes, length);
			size += length;
		}
		assert_true(size < sizeof(copy) - sizeof(bytes));
		assert_int_equal(part_file_position(&file), size);
		if (size > 7000000) {
			part_file_go_back(&file);
			size = marked;
		}
		if (size > 7000000)
			break;
	}
	part_file_flush(&file);
	assert_true(size > 1000000);
	assert_true(durable_finish(&file.file, &digest, &error));
	part_file_free(&file);
	expected = digest_of(copy, size);
	assert_true(digest_equal(&digest, &expected));
	check_file(&digest, (long)size);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(test_patch, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_catches_up_at_the_end, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_go_back, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_cut_file, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_starts_early, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_part_file, make_folder, remove_folder),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
