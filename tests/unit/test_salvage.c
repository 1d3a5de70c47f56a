/*
 * The sector store: what was kept comes back, also in a later run; what was damaged, torn or dropped
 * does not. Against a plain array in memory; no outside source applies.
 */
#include "unit.h"

#include "disk/salvage.h"
#include "drive_image.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECTOR 512u
#define SECTORS 20000u
#define SIZE ((uint64_t)SECTORS * SECTOR)

static char folder[] = "/tmp/coldlift-salvage-XXXXXX";
static uint8_t *content;
static const struct salvage_drive drive = {SIZE, SECTOR, "a drive of the allotments"};

static struct salvage *make(const char *name)
{
	char path[100];
	struct salvage *salvage;

	snprintf(path, sizeof(path), "%s/store", folder);
	salvage = salvage_new(path, name, &drive);
	assert_non_null(salvage);
	return salvage;
}

static struct salvage *take_up(const char *name)
{
	struct salvage *salvage = make(name);
	struct error error = {0};

	if (!salvage_load(salvage, &error))
		fail_msg("%s", error.text);
	return salvage;
}

/* What is there is as it was, and it is there exactly where `there` says so. */
static void check(struct salvage *salvage, const bool *there, uint64_t first, uint64_t count)
{
	uint8_t *buffer = malloc(count * SECTOR);
	struct holes missing = {0}, same = {0};

	assert_non_null(buffer);
	memset(buffer, 0x5A, count * SECTOR);
	salvage_missing(salvage, first * SECTOR, count * SECTOR, &same);
	salvage_get(salvage, first * SECTOR, buffer, count * SECTOR, &missing);
	assert_int_equal(missing.count, same.count);
	for (uint64_t i = 0; i < count; i++) {
		bool is_missing = holes_meet(&missing, (first + i) * SECTOR, SECTOR);

		if (is_missing == there[first + i])
			fail_msg("sector %llu", (unsigned long long)(first + i));
		if (is_missing)
			assert_int_equal(buffer[i * SECTOR], 0x5A);
		else
			assert_memory_equal(
			    buffer + i * SECTOR, content + (first + i) * SECTOR, SECTOR);
	}
	holes_free(&missing);
	holes_free(&same);
	free(buffer);
}

static void put(struct salvage *salvage, bool *there, uint64_t first, uint64_t count)
{
	assert_true(salvage_put(
	    salvage, first * SECTOR, content + first * SECTOR, count * SECTOR));
	memset(there + first, true, count);
}

static void test_kept_and_dropped(void **state)
{
	static bool there[SECTORS];
	struct salvage *salvage = make("random");
	uint64_t wanted = 0;

	(void)state;
	srand(3);
	for (int i = 0; i < 400; i++) {
		uint64_t first = (uint64_t)rand() % (SECTORS - 1200);
		uint64_t count = 1 + (uint64_t)rand() % (i % 9 == 0 ? 1200 : 20);

		put(salvage, there, first, count);
		if (i % 50 == 49) {
			/* Whole entries only: from one gap to another. */
			uint64_t end = first + count;

			while (first > 0 && there[first - 1])
				first--;
			while (there[end])
				end++;
			salvage_drop(salvage, first * SECTOR, (end - first) * SECTOR);
			memset(there + first, false, end - first);
		}
		if (i == 200) {
			salvage_free(salvage);
			salvage = take_up("random");
		}
		check(salvage, there, first, count);
	}
	check(salvage, there, 0, SECTORS);
	for (size_t i = 0; i < SECTORS; i++)
		wanted += there[i] * SECTOR;
	assert_int_equal(salvage_bytes(salvage), wanted);
	assert_false(salvage_failed(salvage));
	salvage_remove(salvage);
	assert_int_equal(salvage_bytes(salvage), 0);
	salvage_free(salvage);
}

static off_t size_of(const char *name)
{
	struct stat status;
	char path[200];

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	return stat(path, &status) == 0 ? status.st_size : -1;
}

/* Room is used again, and given back where nothing is needed any more. */
static void test_room(void **state)
{
	static bool there[SECTORS];
	struct salvage *salvage = make("room");

	(void)state;
	memset(there, false, sizeof(there));
	assert_int_equal(size_of("store/room.index"), -1); /* nothing before it is needed */
	for (int i = 0; i < 30; i++) {
		put(salvage, there, 0, 16000);
		salvage_drop(salvage, 0, 16000 * SECTOR);
		memset(there, false, 16000);
	}
	assert_true(size_of("store/room.sectors-1") <= 8 << 20);
	put(salvage, there, 100, 1);
	put(salvage, there, 200, 16000);
	salvage_drop(salvage, 200 * SECTOR, 16000 * SECTOR);
	memset(there + 200, false, 16000);
	assert_true(size_of("store/room.sectors-1") <= 4 << 20);
	check(salvage, there, 0, SECTORS);
	/* What belongs to others is left to them. */
	salvage_set_reserve(salvage, UINT64_MAX);
	assert_false(salvage_put(salvage, 0, content, 16000 * SECTOR));
	assert_true(salvage_failed(salvage));
	salvage_set_reserve(salvage, 0);
	memset(there, true, 16000);
	assert_true(salvage_put(salvage, 0, content, 16000 * SECTOR));
	check(salvage, there, 0, SECTORS);
	salvage_remove(salvage);
	assert_int_equal(size_of("store"), -1);
	salvage_free(salvage);
}

/* Cuts or overwrites a file of the store. */
static void harm(const char *name, off_t at, bool cut)
{
	char path[200];
	int fd;

	snprintf(path, sizeof(path), "%s/%s", folder, name);
	fd = open(path, O_WRONLY);
	assert_true(fd >= 0);
	if (cut)
		assert_int_equal(ftruncate(fd, at), 0);
	else
		assert_int_equal(pwrite(fd, "harm", 4, at), 4);
	close(fd);
}

static void test_harmed(void **state)
{
	static bool there[SECTORS];
	struct salvage *salvage = make("harm");

	(void)state;
	memset(there, false, sizeof(there));
	for (unsigned i = 0; i < 10; i++)
		put(salvage, there, i * 100, 10);
	salvage_free(salvage);
	/* The third entry's bytes. */
	harm("store/harm.sectors-1", 2 * 10 * SECTOR + 99, false);
	memset(there + 200, false, 10);
	/* A torn end: half a record. */
	harm("store/harm.index", 32 * 10 + 16, true);
	memset(there + 900, false, 10);
	salvage = take_up("harm");
	check(salvage, there, 0, SECTORS);
	/* The next record goes over the torn one. */
	put(salvage, there, 1500, 10);
	/* Harmed while the store is open. */
	harm("store/harm.sectors-1", 5, false);
	memset(there, false, 10);
	check(salvage, there, 0, SECTORS);
	salvage_free(salvage);
	/* Bytes that never arrived. */
	harm("store/harm.sectors-1", 4 * 10 * SECTOR, true);
	salvage = take_up("harm");
	memset(there + 400, false, SECTORS - 400);
	check(salvage, there, 0, SECTORS);
	salvage_remove(salvage);
	salvage_free(salvage);
	/* An index of anything. */
	salvage = make("harm");
	put(salvage, there, 0, 10);
	salvage_free(salvage);
	harm("store/harm.index", 40, false);
	salvage = take_up("harm");
	assert_int_equal(salvage_bytes(salvage), 0);
	salvage_remove(salvage);
	salvage_free(salvage);
}

static void test_other_drive(void **state)
{
	static bool there[SECTORS];
	struct salvage_drive others[] = {{SIZE + SECTOR, SECTOR, drive.identity},
	    {SIZE, 4096, drive.identity}, {SIZE, SECTOR, "another drive"}};
	struct salvage *salvage = make("mine");
	struct error error = {0};
	char path[100];

	(void)state;
	put(salvage, there, 7, 1);
	assert_true(salvage_sync(salvage, &error));
	salvage_free(salvage);
	snprintf(path, sizeof(path), "%s/store", folder);
	for (size_t i = 0; i < 3; i++) {
		salvage = salvage_new(path, "mine", &others[i]);
		assert_non_null(salvage);
		assert_false(salvage_load(salvage, &error));
		assert_int_equal(error.status, STATUS_USAGE);
		assert_int_equal(salvage_bytes(salvage), 0);
		salvage_free(salvage);
	}
	/* Moved, it is the same; and it can be moved before it is there. */
	salvage = take_up("mine");
	snprintf(path, sizeof(path), "%s/elsewhere", folder);
	assert_true(salvage_move(salvage, path, &error));
	assert_int_equal(size_of("store/mine.index"), -1);
	put(salvage, there, 900, 5);
	assert_int_equal(size_of("elsewhere/mine.index"), 32 * 3);
	memset(there, false, sizeof(there));
	there[7] = true;
	memset(there + 900, true, 5);
	check(salvage, there, 0, SECTORS);
	salvage_remove(salvage);
	assert_int_equal(size_of("elsewhere"), -1);
	assert_true(salvage_move(salvage, folder, &error));
	salvage_free(salvage);
}

/* Goes on with copies in another folder: the old files are as they were, and nobody has them. */
static void test_copies(void **state)
{
	struct salvage *salvage = make("first"), *other;
	bool there[SECTORS] = {false};
	struct error error = {0};
	char command[200], path[100];

	(void)state;
	put(salvage, there, 100, 40);
	assert_true(salvage_sync(salvage, &error));
	snprintf(command, sizeof(command), "cp -r %s/store %s/copied", folder, folder);
	assert_int_equal(system(command), 0);
	snprintf(path, sizeof(path), "%s/copied", folder);
	assert_true(salvage_follow(salvage, path, &error));
	other = take_up("first");
	check(other, there, 0, SECTORS);
	salvage_remove(other);
	salvage_free(other);
	put(salvage, there, 500, 7);
	check(salvage, there, 0, SECTORS);
	salvage_free(salvage);

	/* What was kept before and after is there in a later run. */
	salvage = salvage_new(path, "first", &drive);
	assert_true(salvage_load(salvage, &error));
	assert_int_equal(salvage_bytes(salvage), 47 * SECTOR);
	check(salvage, there, 0, SECTORS);
	/* Without the copies there is no store to go on with. */
	snprintf(path, sizeof(path), "%s/nowhere", folder);
	assert_false(salvage_follow(salvage, path, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_false(salvage_put(salvage, 0, content, SECTOR));
	salvage_free(salvage);
	/* One that has no files yet makes them there. */
	salvage = make("none");
	snprintf(path, sizeof(path), "%s/later", folder);
	assert_true(salvage_follow(salvage, path, &error));
	assert_true(salvage_put(salvage, 0, content, SECTOR));
	assert_int_equal(size_of("later/none.index"), 32 * 2);
	salvage_remove(salvage);
	salvage_free(salvage);
}

/* What did not read is noted, once, and is there in a later run; only one run at a time has it. */
static void test_notes(void **state)
{
	struct salvage *salvage = make("notes"), *other;
	const struct salvage_drive unknown = {SIZE, SECTOR, ""};
	struct holes missed = {0}, given_up = {0};
	struct error error = {0};
	char path[100];

	(void)state;
	assert_true(salvage_add_note(salvage, SALVAGE_MISSED, 4096, 1024));
	assert_true(salvage_add_note(salvage, SALVAGE_MISSED, 4096, 512));
	assert_true(salvage_add_note(salvage, SALVAGE_MISSED, 3584, 2048));
	assert_true(salvage_add_note(salvage, SALVAGE_GIVEN_UP, 0, SIZE));
	assert_int_equal(size_of("store/notes.index"), 32 * 5);
	assert_int_equal(salvage_bytes(salvage), 0);
	other = make("notes");
	assert_false(salvage_load(other, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	assert_false(salvage_put(other, 0, content, SECTOR));
	salvage_free(other);
	salvage_free(salvage);

	/* One of which nothing is known can be any drive. */
	snprintf(path, sizeof(path), "%s/store", folder);
	salvage = salvage_new(path, "notes", &unknown);
	assert_true(salvage_load(salvage, &error));
	salvage_notes(salvage, SALVAGE_MISSED, &missed);
	salvage_notes(salvage, SALVAGE_GIVEN_UP, &given_up);
	assert_int_equal(missed.count, 1);
	assert_int_equal(missed.items[0].offset, 3584);
	assert_int_equal(missed.items[0].length, 2048);
	assert_int_equal(holes_total(&given_up), SIZE);
	holes_free(&missed);
	holes_free(&given_up);
	salvage_remove(salvage);
	salvage_free(salvage);
}

/* A folder that cannot be: nothing is kept, and that is said. */
static void test_no_place(void **state)
{
	struct salvage *salvage = salvage_new("/nowhere/at/all", "x", &drive);

	(void)state;
	assert_non_null(salvage);
	assert_false(salvage_put(salvage, 0, content, SECTOR));
	assert_false(salvage_put(salvage, 0, content, 7));
	assert_true(salvage_failed(salvage));
	salvage_remove(salvage);
	salvage_free(salvage);
}

static int begin(void **state)
{
	(void)state;
	content = image_fill(NULL, SIZE, 5);
	return mkdtemp(folder) != NULL ? 0 : -1;
}

static int end(void **state)
{
	char command[100];

	(void)state;
	free(content);
	snprintf(command, sizeof(command), "rm -rf %s", folder);
	return system(command);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_kept_and_dropped),
	    cmocka_unit_test(test_room),
	    cmocka_unit_test(test_harmed),
	    cmocka_unit_test(test_other_drive),
	    cmocka_unit_test(test_copies),
	    cmocka_unit_test(test_notes),
	    cmocka_unit_test(test_no_place),
	};

	return cmocka_run_group_tests(tests, begin, end);
}
