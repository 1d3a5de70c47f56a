/* Counting down: see countdown.h. */
#include "console/countdown.h"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

/* A key within one second? Ctrl-C is a key like any other here. */
static bool is_stopped(int fd)
{
	struct pollfd watched = {.fd = fd, .events = POLLIN};

	return poll(&watched, 1, 1000) > 0;
}

static void draw(FILE *out, bool terminal, unsigned left, const char *what, const char *how)
{
	if (terminal)
		fprintf(
		    out, "\r\033[K%s in %u second%s. %s ", what, left, left == 1 ? "" : "s", how);
	else
		fprintf(out, "%s in %u second%s. %s\n", what, left, left == 1 ? "" : "s", how);
	fflush(out);
}

bool countdown(FILE *in, FILE *out, unsigned seconds, const char *what, const char *how)
{
	int fd = fileno(in);
	struct termios before, keys;
	bool terminal = fd >= 0 && isatty(fd) == 1 && tcgetattr(fd, &before) == 0;
	bool stopped = false;

	if (terminal) {
		keys = before;
		keys.c_lflag &= ~(tcflag_t)(ICANON | ECHO | ISIG);
		tcsetattr(fd, TCSANOW, &keys);
		tcflush(fd, TCIFLUSH);
	}
	for (unsigned left = seconds; left > 0 && !stopped; left--) {
		draw(out, terminal, left, what, how);
		if (terminal)
			stopped = is_stopped(fd);
		else
			sleep(1);
	}
	if (terminal) {
		tcflush(fd, TCIFLUSH);
		tcsetattr(fd, TCSANOW, &before);
		fputc('\n', out);
	}
	return !stopped;
}
