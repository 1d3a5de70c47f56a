/*
 * Tests of the threads that prepare and write: whatever takes how long, what is put is the same.
 *
 * No outside source: the order of calls is a promise of the project's own.
 */
#include "unit.h"

#include "extract/crew.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { PLAIN, HELD, LAST, FAILS };

/* A lane that notes what it is given. */
struct notes {
	struct lane lane; /* first */
	char text[200000];
	size_t length;
	size_t n_held;
	struct parcel *held[CREW_HELD];
	unsigned n_let_go, time_left;
	unsigned delay; /* microseconds at most, in a worker */
};

static void note(struct notes *notes, const struct parcel *parcel)
{
	if (notes->length < sizeof(notes->text) - 100)
		notes->length += (size_t)snprintf(notes->text + notes->length, 100, "%d:%zu:%x ",
		    parcel->kind, parcel->length, parcel->crc);
}

static bool prepare(struct parcel *parcel, struct packer *packer)
{
	struct notes *notes = (struct notes *)parcel->lane;
	/* Every parcel takes another time, but only some of them any. */
	unsigned share = (unsigned)(parcel->length * 2654435761u >> 16) % 64;
	struct timespec pause = {.tv_nsec = share < 4 ? notes->delay * share * 250l : 0};

	(void)packer;
	if (pause.tv_nsec > 0)
		nanosleep(&pause, NULL);
	for (size_t i = 0; i < parcel->length; i++)
		parcel->crc = parcel->crc * 31 + parcel->data[i];
	return parcel->kind != FAILS;
}

static void note_held(struct notes *notes)
{
	for (size_t i = 0; i < notes->n_held; i++)
		note(notes, notes->held[i]);
	notes->n_held = 0;
}

static bool put(struct lane *lane, struct parcel *parcel)
{
	struct notes *notes = (struct notes *)lane;

	lane_wants_time(lane, notes->time_left > 0);
	if (parcel->kind != HELD) {
		note_held(notes);
		note(notes, parcel);
		return false;
	}
	if (notes->n_held == CREW_HELD)
		note_held(notes);
	notes->held[notes->n_held++] = parcel;
	return true;
}

static void let_go(struct lane *lane)
{
	struct notes *notes = (struct notes *)lane;

	note_held(notes);
	notes->n_let_go++;
}

static bool use_time(struct lane *lane)
{
	struct notes *notes = (struct notes *)lane;

	return --notes->time_left > 0;
}

static const struct lane_ops prepared = {prepare, put, let_go, use_time};
static const struct lane_ops plain = {NULL, put, let_go, use_time};

/* The same 3,000 parcels of all sizes for three lanes, the last of which prepares nothing. */
static void run(unsigned workers, unsigned delay, struct notes notes[3])
{
	struct crew *crew = crew_open(workers);
	uint32_t random = 7;

	assert_non_null(crew);
	for (int i = 0; i < 3; i++) {
		memset(&notes[i], 0, sizeof(notes[i]));
		notes[i].delay = delay;
		lane_start(&notes[i].lane, i < 2 ? &prepared : &plain, crew);
	}
	for (int i = 0; i < 3000; i++) {
		struct notes *to = &notes[i / 40 % 3];
		struct parcel *parcel;
		size_t length;
		int kind;

		random = random * 1664525 + 1013904223;
		length = random >> 24 == 0 ? CREW_BUFFER : random >> 8 & 0x3FFF;
		kind = i % 40 == 39 ? LAST : random >> 30 != 0 ? HELD : PLAIN;
		parcel = crew_add(crew, &to->lane, kind, NULL, length);
		assert_non_null(parcel);
		memset(parcel->data, i, length);
	}
	crew_wait(crew);
	for (int i = 0; i < 3; i++)
		assert_true(lane_check(&notes[i].lane, NULL));
	crew_close(crew);
}

static void test_order_does_not_depend_on_timing(void **state)
{
	struct notes *first = calloc(3, sizeof(*first)), *other = calloc(3, sizeof(*other));

	(void)state;
	assert_true(first != NULL && other != NULL);
	run(1, 0, first);
	assert_true(first[0].length > 10000);
	for (unsigned workers = 1; workers <= 9; workers += 2) {
		run(workers, workers == 5 ? 0 : 2000, other);
		for (int i = 0; i < 3; i++)
			assert_string_equal(other[i].text, first[i].text);
	}
	free(first);
	free(other);
}

/* A lane that holds parcels is told to let go of them when another has some. */
static void test_holding(void **state)
{
	struct notes *notes = calloc(2, sizeof(*notes));
	struct crew *crew = crew_open(2);

	(void)state;
	assert_true(crew != NULL && notes != NULL);
	lane_start(&notes[0].lane, &prepared, crew);
	lane_start(&notes[1].lane, &prepared, crew);
	for (int i = 0; i < 3; i++)
		assert_non_null(crew_add(crew, &notes[0].lane, HELD, NULL, 0));
	crew_wait(crew);
	assert_int_equal(notes[0].length, 0);
	assert_non_null(crew_add(crew, &notes[1].lane, PLAIN, NULL, 0));
	crew_wait(crew);
	assert_int_equal(notes[0].n_let_go, 1);
	assert_int_equal(notes[0].n_held, 0);
	assert_string_equal(notes[0].text, "1:0:0 1:0:0 1:0:0 ");
	crew_close(crew);
	free(notes);
}

static void test_take_back(void **state)
{
	struct notes *notes = calloc(1, sizeof(*notes));
	struct crew *crew = crew_open(1);
	int one, two;

	(void)state;
	assert_true(crew != NULL && notes != NULL);
	lane_start(&notes->lane, &plain, crew);
	crew_add(crew, &notes->lane, PLAIN, &one, 0);
	assert_non_null(crew_add(crew, &notes->lane, PLAIN, &two, 0));
	assert_non_null(crew_add(crew, &notes->lane, PLAIN, &two, 0));
	assert_int_equal(crew_take_back(crew, &notes->lane, &two), 2);
	assert_int_equal(crew_take_back(crew, &notes->lane, &two), 0);
	crew_wait(crew);
	assert_string_equal(notes->text, "0:0:0 ");
	assert_int_equal(crew_take_back(crew, &notes->lane, &one), 0); /* on its way */
	crew_close(crew);
	free(notes);
}

static void test_bytes_are_joined(void **state)
{
	struct notes *notes = calloc(1, sizeof(*notes));
	struct crew *crew = crew_open(1);
	static const uint8_t bytes[3 * CREW_BUFFER / 2];

	(void)state;
	assert_true(crew != NULL && notes != NULL);
	lane_start(&notes->lane, &plain, crew);
	assert_true(crew_add_bytes(crew, &notes->lane, PLAIN, bytes, 3));
	assert_true(crew_add_bytes(crew, &notes->lane, PLAIN, bytes, 4));
	crew_add(crew, &notes->lane, LAST, NULL, 0);
	assert_true(crew_add_bytes(crew, &notes->lane, PLAIN, bytes, 5));
	assert_true(crew_add_bytes(crew, &notes->lane, PLAIN, bytes, sizeof(bytes)));
	crew_wait(crew);
	assert_string_equal(notes->text, "0:7:0 2:0:0 0:1048569:0 0:524300:0 ");
	crew_close(crew);
	free(notes);
}

static void test_failure_and_time(void **state)
{
	struct notes *notes = calloc(1, sizeof(*notes));
	struct crew *crew = crew_open(2);
	struct error error = {0};

	(void)state;
	assert_true(crew != NULL && notes != NULL);
	lane_start(&notes->lane, &prepared, crew);
	assert_non_null(crew_add(crew, &notes->lane, FAILS, NULL, 1));
	crew_wait(crew);
	assert_false(lane_check(&notes->lane, &error));
	assert_int_equal(error.status, STATUS_OTHER);
	/* What can wait is done by the end, and no more often than was asked. */
	notes->time_left = 5;
	for (int i = 0; i < 20; i++) {
		crew_add(crew, &notes->lane, PLAIN, NULL, 0);
		crew_wait(crew);
	}
	crew_close(crew);
	assert_int_equal(notes->time_left, 0);
	free(notes);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_order_does_not_depend_on_timing),
	    cmocka_unit_test(test_holding),
	    cmocka_unit_test(test_take_back),
	    cmocka_unit_test(test_bytes_are_joined),
	    cmocka_unit_test(test_failure_and_time),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
