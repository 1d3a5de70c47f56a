/*
 * Running programs with a time limit. The programs are those of any Unix (POSIX.1-2017, Shell and
 * Utilities: sh, sleep, cat, printf); what a process has and is comes from /proc (proc(5)). Nothing
 * here depends on how fast the computer is: only that what is killed would have run for hours.
 */
#include "unit.h"

#include "base/child.h"
#include "base/stop.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define PATIENT ((struct child_limits){120000, 10000, 65536})
#define HASTY ((struct child_limits){300, 20000, 65536})

static struct child_end shell(const char *script, struct child_limits limits, struct buf *out)
{
	const char *const arguments[] = {"sh", "-c", script, NULL};

	return child_run(arguments, &limits, out);
}

static void check_no_child(void)
{
	assert_int_equal(waitpid(-1, NULL, WNOHANG), -1);
	assert_int_equal(errno, ECHILD);
}

/* Is the process there, and not only waiting to be collected by somebody else? */
static bool is_running(long id)
{
	char path[64], text[256] = "";
	const char *state;
	FILE *file;

	snprintf(path, sizeof(path), "/proc/%ld/stat", id);
	file = fopen(path, "r");
	if (file == NULL)
		return false;
	if (fgets(text, sizeof(text), file) == NULL)
		text[0] = '\0';
	fclose(file);
	state = strrchr(text, ')');
	return state != NULL && state[1] != '\0' && state[2] != 'Z' && state[2] != 'X';
}

/* What was killed takes a moment to go. */
static void check_goes(const char *id_text)
{
	long id = strtol(id_text, NULL, 10);

	assert_true(id > 1);
	for (int i = 0; i < 3000 && is_running(id); i++)
		usleep(10000);
	assert_false(is_running(id));
}

static void test_says(void **state)
{
	struct buf out = {0};
	struct child_end end;

	(void)state;
	end = shell("printf 'Fernhill\\n'; printf 'not this' >&2; exit 7", PATIENT, &out);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_int_equal(end.number, 7);
	assert_string_equal(buf_text(&out), "Fernhill\n");
	/* What it says comes behind what was there. */
	end = shell("printf plot", PATIENT, &out);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_int_equal(end.number, 0);
	assert_string_equal(buf_text(&out), "Fernhill\nplot");
	buf_free(&out);
	end = shell("kill -9 $$", PATIENT, &out);
	assert_int_equal(end.how, CHILD_SIGNALLED);
	assert_int_equal(end.number, SIGKILL);
	buf_free(&out);
	check_no_child();
}

/* Standard input is empty, nothing else is open, and a signal that waits here does not wait there.
 */
static void test_inherits_nothing(void **state)
{
	struct buf out = {0};
	struct child_end end;
	sigset_t before;
	int open_here = open("/dev/null", O_RDONLY);

	(void)state;
	assert_true(open_here >= 0);
	stop_hold(&before);
	end = shell("cat; for f in /proc/self/fd/*; do [ -e $f ] && echo ${f##*/}; done;"
		    "grep SigBlk /proc/self/status",
	    PATIENT, &out);
	stop_release(&before);
	close(open_here);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_string_equal(buf_text(&out), "0\n1\n2\nSigBlk:\t0000000000000000\n");
	buf_free(&out);
}

static void test_not_there(void **state)
{
	static const char *const missing[] = {"coldlift-no-such-program", NULL};
	static const char *const path[] = {"/dev/null/smart", NULL};
	static const char *const folder[] = {"/", NULL};
	struct buf out = {0};

	(void)state;
	assert_int_equal(child_run(missing, &PATIENT, &out).how, CHILD_NOT_FOUND);
	assert_int_equal(child_run(path, &PATIENT, &out).how, CHILD_NOT_FOUND);
	assert_int_equal(child_run(folder, &PATIENT, &out).how, CHILD_NOT_STARTED);
	assert_int_equal(out.length, 0);
	buf_free(&out);
	check_no_child();
}

static void test_hangs(void **state)
{
	struct buf out = {0};
	struct child_end end;

	(void)state;
	end = shell("trap '' TERM INT HUP; printf $$; while :; do sleep 10000; done", HASTY, &out);
	assert_int_equal(end.how, CHILD_TIMED_OUT);
	/* On a busy computer it may not even have begun to speak. */
	if (out.length > 0)
		check_goes(buf_text(&out));
	buf_free(&out);
	check_no_child();
}

static void test_floods(void **state)
{
	struct buf out = {0};
	struct child_end end;

	(void)state;
	end = shell(
	    "while :; do printf 'plots and sheds and beans and leeks\\n'; done", PATIENT, &out);
	assert_int_equal(end.how, CHILD_FLOODED);
	assert_int_equal(out.length, 65536);
	buf_free(&out);
	/* Exactly as much as allowed is no flood. */
	end = shell("printf 12345678", (struct child_limits){120000, 10000, 8}, &out);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_string_equal(buf_text(&out), "12345678");
	buf_free(&out);
	/* A flood that is there all at once when the program has ended. */
	end = shell("printf 123456789", (struct child_limits){120000, 10000, 8}, &out);
	assert_int_equal(end.how, CHILD_FLOODED);
	assert_string_equal(buf_text(&out), "12345678");
	buf_free(&out);
	check_no_child();
}

/* It ends, and a program that it started holds its output open: nobody waits for that. */
static void test_grandchild(void **state)
{
	struct buf out = {0};
	struct child_end end;

	(void)state;
	end = shell("sleep 10000 & printf $!", PATIENT, &out);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_int_equal(end.number, 0);
	check_goes(buf_text(&out));
	buf_free(&out);
	/* The same when it does not end. */
	end = shell("sleep 10000 & printf $!; wait", (struct child_limits){2000, 20000, 100}, &out);
	assert_int_equal(end.how, CHILD_TIMED_OUT);
	if (out.length > 0)
		check_goes(buf_text(&out));
	buf_free(&out);
	check_no_child();
}

/* It closes its output and goes on: its end is what counts. */
static void test_silent(void **state)
{
	struct buf out = {0};
	struct child_end end;

	(void)state;
	end = shell("printf a; exec >&-; sleep 0.2; exit 3", PATIENT, &out);
	assert_int_equal(end.how, CHILD_EXITED);
	assert_int_equal(end.number, 3);
	assert_string_equal(buf_text(&out), "a");
	buf_free(&out);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_says),
	    cmocka_unit_test(test_inherits_nothing),
	    cmocka_unit_test(test_not_there),
	    cmocka_unit_test(test_hangs),
	    cmocka_unit_test(test_floods),
	    cmocka_unit_test(test_grandchild),
	    cmocka_unit_test(test_silent),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
