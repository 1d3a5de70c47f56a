/*
 * Tests of progress: what stands on a terminal, and what in a file. Plain properties, no outside
 * source applies; the terminal is a pseudo-terminal of the system.
 */
#include "unit.h"

#include "base/progress.h"

#include <fcntl.h>
#include <pty.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

/* Standard error goes to `fd` until the returned descriptor is put back. */
static int redirect(int fd)
{
	int before = dup(STDERR_FILENO);

	assert_true(before >= 0);
	assert_int_equal(dup2(fd, STDERR_FILENO), STDERR_FILENO);
	return before;
}

static void put_back(int before)
{
	assert_int_equal(dup2(before, STDERR_FILENO), STDERR_FILENO);
	close(before);
}

/*
 * A job of 4 GB, of which 3 GB took `seconds` so far, and more a tenth of a second later. The
 * moments are given: how busy the computer is makes no difference.
 */
static void go_on(struct progress *progress, time_t seconds, bool quiet)
{
	struct timespec now;

	progress_start(progress, "Taking", 4000000000u, quiet);
	progress->started = progress->drawn = (struct timespec){1000, 0};
	now = (struct timespec){1000 + seconds, 0};
	progress_at_moment(
	    progress, &now, 3000000000u, "\\Users\\mara\\Documents\\a\033[31m.txt");
	now.tv_nsec = 100000000;
	progress_at_moment(progress, &now, 3500000000u, "too soon to be drawn");
}

static void on_terminal(unsigned short columns, time_t seconds, char *text, size_t size)
{
	struct winsize window = {.ws_row = 24, .ws_col = columns};
	struct progress progress;
	int master, slave, before;
	size_t length = 0;
	ssize_t more;

	assert_int_equal(openpty(&master, &slave, NULL, NULL, &window), 0);
	before = redirect(slave);
	go_on(&progress, seconds, false);
	progress_end(&progress);
	put_back(before);
	/* What was written comes in as many pieces as the kernel likes, and then an error. */
	close(slave);
	while ((more = read(master, text + length, size - 1 - length)) > 0)
		length += (size_t)more;
	text[length] = '\0';
	close(master);
}

/* Bytes, rate, time left and file in one line that is redrawn and cleared. */
static void test_terminal(void **state)
{
	char text[400];

	(void)state;
	on_terminal(100, 30, text, sizeof(text));
	assert_non_null(strstr(text, "\r\033[KTaking: 3.0 GB of 4.0 GB, 100 MB/s, 10 s left  "));
	assert_non_null(strstr(text, "Documents\\a"));
	assert_null(strstr(text, "\033[31m"));
	assert_null(strstr(text, "too soon"));
	assert_null(strchr(text, '\n'));
	assert_string_equal(text + strlen(text) - 4, "\r\033[K");
	on_terminal(100, 3000, text, sizeof(text));
	assert_non_null(strstr(text, "1.0 MB/s, 17 min left"));
	on_terminal(60, 30, text, sizeof(text));
	assert_null(strstr(text, "Documents")); /* no room for a name */
}

static void in_file(time_t seconds, bool quiet, char *text, size_t size)
{
	struct progress progress;
	FILE *file = tmpfile();
	size_t length;
	int before;

	assert_non_null(file);
	before = redirect(fileno(file));
	go_on(&progress, seconds, quiet);
	progress_end(&progress);
	put_back(before);
	rewind(file);
	length = fread(text, 1, size - 1, file);
	text[length] = '\0';
	fclose(file);
}

/* Elsewhere a plain line once in ten seconds, and nothing when nothing is wanted. */
static void test_file(void **state)
{
	char text[400];

	(void)state;
	in_file(30, false, text, sizeof(text));
	assert_string_equal(text, "Taking: 3.0 GB of 4.0 GB, 100 MB/s, 10 s left\n");
	in_file(5, false, text, sizeof(text));
	assert_string_equal(text, "");
	in_file(30, true, text, sizeof(text));
	assert_string_equal(text, "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_terminal),
	    cmocka_unit_test(test_file),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
