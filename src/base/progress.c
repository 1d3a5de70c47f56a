/* Progress of long work: see progress.h. */
#include "base/progress.h"

#include "base/text.h"

#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define TERMINAL_INTERVAL 0.2 /* seconds */
#define PLAIN_INTERVAL 10.0
#define NAME_COLUMNS 12 /* a shorter piece of a name says nothing */

static double seconds_between(const struct timespec *from, const struct timespec *to)
{
	return (double)(to->tv_sec - from->tv_sec) + (double)(to->tv_nsec - from->tv_nsec) / 1e9;
}

void progress_start(struct progress *progress, const char *verb, uint64_t total, bool quiet)
{
	struct winsize size;

	*progress = (struct progress){.verb = verb, .total = total, .quiet = quiet};
	progress->terminal = isatty(STDERR_FILENO) == 1;
	progress->columns = 80;
	if (progress->terminal && ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 20)
		progress->columns = size.ws_col;
	clock_gettime(CLOCK_MONOTONIC, &progress->started);
	progress->drawn = progress->started;
}

/* "about 3 minutes left"; empty while there is too little to go by. */
static void time_left(char *text, size_t size, const struct progress *progress, double elapsed)
{
	double seconds;

	text[0] = '\0';
	if (progress->total == 0 || progress->done == 0 || elapsed < 2 ||
	    progress->done >= progress->total)
		return;
	seconds = elapsed / (double)progress->done * (double)(progress->total - progress->done);
	if (seconds < 90)
		snprintf(text, size, ", %.0f s left", seconds);
	else if (seconds < 90 * 60)
		snprintf(text, size, ", %.0f min left", seconds / 60);
	else
		snprintf(text, size, ", %.1f h left", seconds / 3600);
}

static void facts(char *text, size_t size, const struct progress *progress, double elapsed)
{
	uint64_t rate = elapsed > 0 ? (uint64_t)((double)progress->done / elapsed) : 0;
	char left[40];

	time_left(left, sizeof(left), progress, elapsed);
	if (progress->total == 0)
		snprintf(text, size, "%s: %s, %s/s", progress->verb,
		    text_size(progress->done).text, text_size(rate).text);
	else
		snprintf(text, size, "%s: %s of %s, %s/s%s", progress->verb,
		    text_size(progress->done).text, text_size(progress->total).text,
		    text_size(rate).text, left);
}

void progress_at_moment(
    struct progress *progress, const struct timespec *now, uint64_t done, const char *name)
{
	char figures[160];
	unsigned room;

	progress->done = done;
	if (progress->quiet ||
	    seconds_between(&progress->drawn, now) <
		(progress->terminal ? TERMINAL_INTERVAL : PLAIN_INTERVAL))
		return;
	progress->drawn = *now;
	facts(figures, sizeof(figures), progress, seconds_between(&progress->started, now));
	if (!progress->terminal) {
		fprintf(stderr, "%s\n", figures);
		return;
	}
	fprintf(stderr, "\r\033[K%s", figures);
	progress->line_open = true;
	room = progress->columns - 3;
	room = room > strlen(figures) ? room - (unsigned)strlen(figures) : 0;
	if (name != NULL && room >= NAME_COLUMNS) {
		fputs("  ", stderr);
		/* The end of a name tells more than its beginning. */
		text_print(stderr, text_tail(name, room));
	}
	fflush(stderr);
}

void progress_at(struct progress *progress, uint64_t done, const char *name)
{
	struct timespec now;

	clock_gettime(CLOCK_MONOTONIC, &now);
	progress_at_moment(progress, &now, done, name);
}

void progress_end(struct progress *progress)
{
	if (progress->line_open)
		fputs("\r\033[K", stderr);
	progress->line_open = false;
}
