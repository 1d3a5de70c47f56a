/*
 * Every call to the system that writes a zip or tar file failing once, interrupted, or doing half
 * of what it was asked for.
 *
 * Reference: sha256sum (GNU coreutils) for the digest of what was written all the same.
 */
#include "unit.h"

#include "scratch.h"
#include "zip_content.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

/* --- calls to the system that fail when asked to: these stand before the library's --- */

static int calls_until_failure = -1; /* -1: none fails */
static int calls;
static int failure;
static bool short_writes;

static bool fails(void)
{
	/* One thread at a time calls these; the number is read when all is over. */
	int number = __atomic_fetch_add(&calls, 1, __ATOMIC_SEQ_CST);

	if (calls_until_failure < 0 || number != calls_until_failure)
		return false;
	errno = failure;
	return true;
}

ssize_t pwrite(int fd, const void *data, size_t length, off_t offset)
{
	if (short_writes && length > 1)
		length = length / 2;
	return fails() ? -1 : syscall(SYS_pwrite64, fd, data, length, offset);
}

ssize_t pread(int fd, void *data, size_t length, off_t offset)
{
	if (short_writes && length > 1)
		length = length / 2;
	return fails() ? -1 : syscall(SYS_pread64, fd, data, length, offset);
}

int ftruncate(int fd, off_t length)
{
	return fails() ? -1 : (int)syscall(SYS_ftruncate, fd, length);
}

int fsync(int fd)
{
	return fails() ? -1 : (int)syscall(SYS_fsync, fd);
}

int rename(const char *from, const char *to)
{
	return fails() ? -1 : (int)syscall(SYS_rename, from, to);
}

/* A job of every kind of call; false when something failed, which was then told. */
static bool write_and_fail(enum format format)
{
	static const struct manner manner = {900000, 0};
	struct member member = {.kind = MEMBER_FILE, .path = "data/y", .size = 12 * MIB};
	struct error error = {0};
	struct writer *writer = writer_open(format, inside("part"), NULL, &error);
	struct digest digest;
	bool good;

	if (writer == NULL)
		return false;
	good = add_file(writer, "data/a", noise, 8 * MIB + 1, false, &manner, &error) &&
	    writer_begin(writer, &member, &error) &&
	    hand_over(writer, noise, 10 * MIB, &manner, &error) && writer_take_back(writer, &error);
	for (unsigned i = 0; good && i < 40; i++) {
		char path[20];

		snprintf(path, sizeof(path), "data/%u", i);
		good = add_file(writer, path, noise + i, 5000, false, &manner, &error);
	}
	good = good && add_file(writer, "data/b", noise, 2 * MIB, true, &manner, &error);
	if (good)
		good = writer_finish(writer, &digest, &error);
	else
		writer_abandon(writer);
	if (good)
		check_digest("part", &digest);
	else
		assert_int_equal(error.status, STATUS_DESTINATION);
	return good;
}

static void test_every_call_fails_once(void **state)
{
	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_TAR; format++) {
		int total, n_passed = 0;

		calls_until_failure = -1;
		calls = 0;
		assert_true(write_and_fail((enum format)format));
		assert_int_equal(unlink(inside("part")), 0);
		total = calls;
		assert_true(total > 10);
		for (int i = 0; i < total; i += i < 8 || i > total - 12 ? 1 : 29) {
			bool good;

			calls = 0;
			calls_until_failure = i;
			failure = i % 3 == 0 ? ENOSPC : EIO;
			good = write_and_fail((enum format)format);
			calls_until_failure = -1;
			n_passed += good;
			/* Syncing file and folder once more comes after it has its name. */
			if (!good && i < total - 2)
				assert_int_equal(shell("test -z \"$(ls)\""), 0);
			assert_int_equal(shell("rm -f part"), 0);
		}
		/* How much is read back in how many calls is a matter of timing; little else is. */
		assert_true(n_passed <= 5);
	}
}

static void test_interrupted_and_short_calls(void **state)
{
	static const struct manner manner;
	struct digest whole = write_zip("whole.zip", 2, &manner), halved;

	(void)state;
	short_writes = true;
	halved = write_zip("halved.zip", 2, &manner);
	short_writes = false;
	assert_true(digest_equal(&whole, &halved));
	check_digest("halved.zip", &halved);
	for (int i = 0; i < 30; i += 10) {
		calls = 0;
		failure = EINTR;
		calls_until_failure = i;
		/* Not every call may be interrupted; the first ones only write. */
		assert_true(write_and_fail(FORMAT_ZIP) || i > 20);
		calls_until_failure = -1;
		assert_int_equal(shell("rm -f part"), 0);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(test_every_call_fails_once, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_interrupted_and_short_calls, make_folder,
		remove_folder),
	};

	return cmocka_run_group_tests(tests, make_content, free_content);
}
