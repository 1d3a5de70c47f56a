/*
 * Tests of parts that are gone on with after a break: in all formats the finished part is the same,
 * byte by byte, as one that was written without a break.
 *
 * The break is real: a process of its own writes, and ends in the middle of it without closing or
 * saying anything. Reference: cmp and diff (GNU diffutils), find (GNU findutils) for times and
 * modes, sha256sum (GNU coreutils), unzip (Info-ZIP).
 */
#include "unit.h"

#include "scratch.h"

#include "base/locale.h"
#include "extract/durable.h"
#include "extract/writer.h"
#include "extract/zip_format.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#define MIB ((size_t)1 << 20)
#define ENTRIES 25u
#define WHOLE "whole"
#define BROKEN "broken"

static uint8_t *bytes; /* 10 MiB, half of which can be compressed */

static int make_bytes(void **state)
{
	uint32_t random = 7;

	(void)state;
	bytes = malloc(10 * MIB);
	assert_non_null(bytes);
	for (size_t i = 0; i < 10 * MIB; i++) {
		random = random * 1664525 + 1013904223;
		bytes[i] = i / 5000 % 2 == 0 ? (uint8_t)(random >> 24) : "Fernhill"[i % 8];
	}
	return 0;
}

static int free_bytes(void **state)
{
	(void)state;
	free(bytes);
	return 0;
}

/* --- what is written --- */

/* Entry `i` of a part: every kind and way of writing is among any few neighbours. */
static void describe(enum format format, unsigned i, struct member *member, char path[100])
{
	static const size_t sizes[] = {3000, 0, 70000, MIB, 9 * MIB, 2 * MIB + 7, 1};

	snprintf(path, 100, "data/Zoë/%s %u/%u", i % 3 == 0 ? "plots" : "x", i / 6, i);
	*member = (struct member){.kind = i % 6 == 0 ? MEMBER_FOLDER : MEMBER_FILE, .path = path,
	    .modified = INT64_C(132000000000000000) + i, .accessed = i % 4 == 0 ? 0 : 5000 + i,
	    .created = i % 5 == 0 ? 0 : INT64_C(131000000000000000), .is_readonly = i % 4 == 1,
	    .is_compact = i % 9 == 2};
	if (member->kind == MEMBER_FILE)
		member->size = i > 7 && i % 7 == 4 ? 500 : sizes[i % 7];
	else
		member->is_readonly = false;
	if (i % 13 == 8 && format != FORMAT_ZIP) {
		member->kind = MEMBER_SAME;
		member->same_as = "data/Zoë/x 0/1";
	}
}

static bool add(struct writer *writer, enum format format, unsigned i, struct error *error)
{
	struct member member;
	char path[100];

	describe(format, i, &member, path);
	return writer_begin(writer, &member, error) &&
	    (member.kind != MEMBER_FILE ||
		writer_data(writer, bytes + i, (size_t)member.size, error)) &&
	    writer_end(writer, error);
}

static struct writer *open_part(enum format format, const char *name)
{
	struct writer_options options = {.workers = 2, .zone = "CET-1"};
	struct error error;
	struct writer *writer = writer_open(format, inside(name), &options, &error);

	assert_non_null(writer);
	return writer;
}

/* The entries that stand in front of a mark, for writer_options. */
struct told {
	enum format format;
	unsigned next, end;
	char path[100];
};

static bool next_stored(void *stored, struct member *member)
{
	struct told *told = stored;

	if (told->next == told->end)
		return false;
	describe(told->format, told->next++, member, told->path);
	return true;
}

static struct writer *reopen(enum format format, unsigned n, const struct writer_mark *mark,
    struct error *error)
{
	struct told told = {.format = format, .end = n};
	struct writer_options options = {.workers = 2, .zone = "CET-1",
	    .next_stored = next_stored, .stored = &told};

	return writer_reopen(format, inside(BROKEN), &options, mark, error);
}

/* Folders that are no entries have the times of the writing. */
static void check_same(enum format format)
{
	if (format != FORMAT_FOLDER) {
		assert_int_equal(shell("cmp " WHOLE " " BROKEN), 0);
		return;
	}
	assert_int_equal(shell("diff -r " WHOLE " " BROKEN), 0);
	assert_int_equal(shell("for i in " WHOLE " " BROKEN "; do ( cd $i && find data/*/*/ -mindepth 1 "
			       "-printf '%P %y %m %s %T@ %n\\n' | sort ) >$i.list; done; "
			       "cmp " WHOLE ".list " BROKEN ".list"), 0);
}

static void write_whole(enum format format)
{
	struct writer *writer = open_part(format, WHOLE);
	struct error error;

	for (unsigned i = 0; i < ENTRIES; i++)
		assert_true(add(writer, format, i, &error));
	assert_true(writer_finish(writer, NULL, &error));
}

/* --- the break --- */

enum end {
	AT_ONCE,
	BETWEEN,  /* some more entries are there */
	WITHIN,   /* and half of another one */
	GIVEN_UP, /* as after WITHIN, but in good order */
	FINISHED, /* the part is complete, and nobody was told */
	N_ENDS,
};

static void go_beyond(struct writer *writer, enum format format, unsigned n, enum end end)
{
	struct member member = {.kind = MEMBER_FILE, .path = "data/never/seen", .size = 9 * MIB};
	struct error error;

	if (end == AT_ONCE)
		return;
	for (unsigned i = n; i < n + 4 && i < ENTRIES; i++)
		assert_true(add(writer, format, i, &error));
	if (end == FINISHED) {
		assert_true(writer_finish(writer, NULL, &error));
	} else if (end != BETWEEN) {
		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_data(writer, bytes, 8 * MIB + MIB / 2, &error));
	}
	if (end == GIVEN_UP)
		writer_abandon(writer);
}

/* Writes up to entry n, from `from` on after a break, and breaks off behind a checkpoint. */
static struct writer_mark write_and_break(enum format format, unsigned from,
    const struct writer_mark *mark, unsigned n, enum end end)
{
	struct writer_mark made = {0};
	int pipe_ends[2], status;
	pid_t child;

	assert_int_equal(pipe(pipe_ends), 0);
	fflush(NULL);
	child = fork();
	assert_true(child >= 0);
	if (child == 0) {
		struct error error;
		struct writer *writer = mark == NULL ? open_part(format, BROKEN) :
						       reopen(format, from, mark, &error);
		bool good = writer != NULL;

		for (unsigned i = from; good && i < n; i++)
			good = add(writer, format, i, &error);
		good = good && writer_checkpoint(writer, &made, &error) &&
		    write(pipe_ends[1], &made, sizeof(made)) == sizeof(made);
		if (good)
			go_beyond(writer, format, n, end);
		_exit(good ? 0 : 1);
	}
	assert_int_equal(waitpid(child, &status, 0), child);
	assert_int_equal(status, 0);
	assert_int_equal(read(pipe_ends[0], &made, sizeof(made)), sizeof(made));
	close(pipe_ends[0]);
	close(pipe_ends[1]);
	assert_int_equal(made.entries, n);
	return made;
}

static void go_on_to_the_end(enum format format, unsigned n, const struct writer_mark *mark)
{
	struct digest digest;
	struct error error;
	struct writer *writer = reopen(format, n, mark, &error);
	struct member member = {.kind = MEMBER_FILE, .path = "data/taken/back", .size = 9 * MIB};

	assert_non_null(writer);
	assert_true(writer_begin(writer, &member, &error));
	assert_true(writer_data(writer, bytes, 9 * MIB, &error));
	assert_true(writer_take_back(writer, &error));
	for (unsigned i = n; i < ENTRIES; i++)
		assert_true(add(writer, format, i, &error));
	assert_true(writer_finish(writer, &digest, &error));
	if (format != FORMAT_FOLDER) {
		char script[200];

		snprintf(script, sizeof(script), "echo '%s  " BROKEN "' | sha256sum --status -c -",
		    digest_to_text(&digest).text);
		assert_int_equal(shell(script), 0);
	}
	check_same(format);
	assert_int_equal(shell("test ! -e " BROKEN UNFINISHED " && rm -r " BROKEN), 0);
}

/* --- tests --- */

static void check_breaks(enum format format)
{
	static const unsigned places[] = {0, 1, 5, 19, ENTRIES};

	write_whole(format);
	for (size_t i = 0; i < sizeof(places) / sizeof(places[0]); i++) {
		for (int end = 0; end < N_ENDS; end++) {
			struct writer_mark mark;

			if ((i + (size_t)end) % 2 != 0)
				continue; /* half of them will do */
			mark = write_and_break(format, 0, NULL, places[i], (enum end)end);
			go_on_to_the_end(format, places[i], &mark);
		}
	}
}

static void test_zip(void **state)
{
	(void)state;
	check_breaks(FORMAT_ZIP);
}

static void test_tar(void **state)
{
	(void)state;
	check_breaks(FORMAT_TAR);
}

static void test_folder(void **state)
{
	(void)state;
	check_breaks(FORMAT_FOLDER);
}

static void test_several_breaks(void **state)
{
	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_FOLDER; format++) {
		struct writer_mark mark;

		write_whole((enum format)format);
		mark = write_and_break((enum format)format, 0, NULL, 7, WITHIN);
		mark = write_and_break((enum format)format, 7, &mark, 7, BETWEEN);
		mark = write_and_break((enum format)format, 7, &mark, 22, WITHIN);
		go_on_to_the_end((enum format)format, 22, &mark);
		assert_int_equal(shell("rm -r " WHOLE), 0);
	}
}

/* Without a checkpoint nothing stays; the folder says by its name what it is. */
static void test_given_up_without_checkpoint(void **state)
{
	struct error error;

	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_TAR; format++) {
		struct writer *writer = open_part((enum format)format, BROKEN);

		assert_true(add(writer, (enum format)format, 1, &error));
		writer_abandon(writer);
		assert_int_equal(shell("test -z \"$(ls)\""), 0);
	}
}

/* The size is the same as without a break, so that parts end at the same place. */
static void test_room(void **state)
{
	(void)state;
	for (int format = FORMAT_ZIP; format <= FORMAT_TAR; format++) {
		struct writer_mark mark = write_and_break((enum format)format, 0, NULL, 20, WITHIN);
		struct writer *whole = open_part((enum format)format, WHOLE), *again;
		struct error error;
		uint64_t size;

		for (unsigned i = 0; i < 20; i++)
			assert_true(add(whole, (enum format)format, i, &error));
		size = writer_size(whole);
		writer_abandon(whole);
		again = reopen((enum format)format, 20, &mark, &error);
		assert_non_null(again);
		assert_true(writer_has_room(again, 10, size + 10));
		assert_false(writer_has_room(again, 10, size + 9));
		assert_int_equal(writer_size(again), size);
		writer_abandon(again);
		assert_int_equal(shell("test -e " BROKEN UNFINISHED " && rm " BROKEN UNFINISHED), 0);
	}
}

/* Zip64 sizes in a local header are kept, also the offset behind them. */
static void test_large_member(void **state)
{
	struct member member = {.kind = MEMBER_FILE, .path = "data/large",
	    .size = UINT64_C(0x100000003)};
	struct writer_mark mark;
	struct error error;

	(void)state;
	for (int round = 0; round < 2; round++) {
		struct writer *writer = open_part(FORMAT_ZIP, round == 0 ? WHOLE : BROKEN);
		struct writer_options options = {.zone = "CET-1"};

		assert_true(writer_begin(writer, &member, &error));
		assert_true(writer_zeros(writer, member.size, &error));
		assert_true(writer_end(writer, &error));
		if (round == 1) {
			assert_true(writer_checkpoint(writer, &mark, &error));
			writer_abandon(writer);
			writer = writer_reopen(FORMAT_ZIP, inside(BROKEN), &options, &mark, &error);
			assert_non_null(writer);
		}
		assert_true(add(writer, FORMAT_ZIP, 2, &error));
		assert_true(writer_finish(writer, NULL, &error));
	}
	assert_int_equal(shell("cmp " WHOLE " " BROKEN " && unzip -Z1 " BROKEN " | grep -c . | "
			       "grep -qx 2"), 0);
}

/* What does not fit the mark any more is refused, and stays. */
static void test_refused(void **state)
{
	struct writer_mark mark = write_and_break(FORMAT_ZIP, 0, NULL, 10, BETWEEN), wrong = mark;
	struct error error = {0};

	(void)state;
	assert_int_equal(shell("cp " BROKEN UNFINISHED " copy"), 0);
	wrong.entries++;
	assert_null(reopen(FORMAT_ZIP, 10, &wrong, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	/* Cut within an entry's bytes, and within a header. */
	wrong = (struct writer_mark){mark.length - 1, mark.entries};
	assert_null(reopen(FORMAT_ZIP, 10, &wrong, &error));
	wrong = (struct writer_mark){10, 1};
	assert_null(reopen(FORMAT_ZIP, 10, &wrong, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	/* It was cut by what was asked for: too short now. */
	assert_null(reopen(FORMAT_ZIP, 10, &mark, &error));
	assert_int_equal(error.status, STATUS_DESTINATION);
	/* A byte of the first header: the method, a time, the extra field's length. */
	for (int at = 8; at <= 28; at += 4) {
		char script[200];

		snprintf(script, sizeof(script), "cp copy " BROKEN UNFINISHED "; printf '\\377' | "
		    "dd of=" BROKEN UNFINISHED " bs=1 seek=%d conv=notrunc status=none",
		    at == 8 ? 8 : at == 28 ? 28 : 0);
		assert_int_equal(shell(script), 0);
		assert_null(reopen(FORMAT_ZIP, 10, &mark, &error));
	}
	assert_int_equal(shell("rm " BROKEN UNFINISHED), 0);
	for (int format = FORMAT_ZIP; format <= FORMAT_FOLDER; format++) {
		assert_null(reopen((enum format)format, 10, &mark, &error));
		assert_int_equal(error.status, STATUS_DESTINATION);
	}
}

/* A folder loses nothing when the journal does not fit it, and its links are not followed. */
static void test_folder_refused(void **state)
{
	struct writer_mark mark = write_and_break(FORMAT_FOLDER, 0, NULL, 10, BETWEEN);
	struct error error = {0};
	struct writer *writer;

	(void)state;
	assert_int_equal(shell("find " BROKEN UNFINISHED " >before; mkdir other; touch other/file; "
			       "ln -s ../../other " BROKEN UNFINISHED "/data/link"), 0);
	assert_null(reopen(FORMAT_FOLDER, 9, &mark, &error));
	assert_int_equal(error.status, STATUS_OTHER);
	assert_int_equal(shell("rm " BROKEN UNFINISHED "/data/link && "
			       "find " BROKEN UNFINISHED " | cmp - before && "
			       "ln -s ../../other " BROKEN UNFINISHED "/data/link"), 0);
	writer = reopen(FORMAT_FOLDER, 10, &mark, &error);
	assert_non_null(writer);
	writer_abandon(writer);
	assert_int_equal(shell("test -e other/file && test ! -L " BROKEN UNFINISHED "/data/link"), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test_setup_teardown(test_zip, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_tar, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_folder, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_several_breaks, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(
		test_given_up_without_checkpoint, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_room, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_large_member, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_refused, make_folder, remove_folder),
	    cmocka_unit_test_setup_teardown(test_folder_refused, make_folder, remove_folder),
	};

	return cmocka_run_group_tests(tests, make_bytes, free_bytes);
}
