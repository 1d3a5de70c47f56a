/* The terminal of the start screen: see screen.h. */
#include "console/screen.h"

#include "base/text.h"
#include "base/utf.h"

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/signalfd.h>
#include <termios.h>
#include <unistd.h>

#define WIDTH 79u
#define ROWS 24u /* where a terminal does not say: a serial line */
#define LONGEST_WAIT 30u

static bool is_terminal(FILE *stream)
{
	int number = fileno(stream);

	return number >= 0 && isatty(number) == 1;
}

void screen_start(struct screen *screen, FILE *in, FILE *out)
{
	*screen = (struct screen){.in = in, .out = out};
	/* Nothing may wait in a buffer while screen_ask() waits for the terminal. */
	setvbuf(in, NULL, _IONBF, 0);
}

static struct winsize size_of(const struct screen *screen)
{
	struct winsize size = {0};
	int number = fileno(screen->out);

	if (number < 0 || ioctl(number, TIOCGWINSZ, &size) != 0)
		size = (struct winsize){0};
	return size;
}

unsigned screen_width(const struct screen *screen)
{
	unsigned columns = size_of(screen).ws_col;

	return columns > 20 && columns <= WIDTH ? columns - 1 : WIDTH;
}

/* Lines that may come before somebody has to press Enter; 0: any number. */
static unsigned room(const struct screen *screen)
{
	unsigned rows = screen->rows;

	if (rows == 0 && is_terminal(screen->out)) {
		rows = size_of(screen).ws_row;
		if (rows == 0)
			rows = ROWS;
	}
	/* One line for what asks, one so that the top does not touch the edge. */
	return rows > 4 ? rows - 2 : rows;
}

/* Bytes of the line that fit into the columns, one character at least. */
static size_t fitting(const char *text, size_t length, unsigned columns)
{
	const char *at = text, *end = text + length;
	unsigned used = 0;

	while (at < end) {
		const char *next = at;
		char one[8];
		uint32_t point = utf_next(&next, end);
		size_t bytes = (size_t)(next - at);

		if (point == 0 || bytes >= sizeof(one))
			break;
		memcpy(one, at, bytes);
		one[bytes] = '\0';
		used += text_columns(one);
		if (used > columns && at > text)
			break;
		at = next;
	}
	return at > text ? (size_t)(at - text) : length;
}

static bool ask_for_more(struct screen *screen)
{
	char line[8];

	return screen_ask(screen, "-- Enter for more -- ", line, sizeof(line)) == ANSWER_LINE;
}

bool screen_show(struct screen *screen, const char *text)
{
	unsigned most = room(screen), width = screen_width(screen);

	while (*text != '\0') {
		/* A name without spaces can be longer than the screen is wide. */
		size_t length = fitting(text, strcspn(text, "\n"), width);

		if (most != 0 && screen->used >= most && !ask_for_more(screen))
			return false;
		fwrite(text, 1, length, screen->out);
		fputc('\n', screen->out);
		screen->used++;
		text += length;
		text += *text == '\n';
	}
	fflush(screen->out);
	return true;
}

bool screen_show_together(struct screen *screen, const char *text)
{
	unsigned most = room(screen), lines = 0;

	for (const char *at = text; *at != '\0'; at++)
		lines += *at == '\n';
	if (lines <= most && screen->used > 0 && screen->used + lines > most &&
	    !ask_for_more(screen))
		return false;
	return screen_show(screen, text);
}

void screen_say(struct screen *screen, const char *format, ...)
{
	char sentence[2600], *text = NULL;
	size_t length;
	va_list arguments;
	FILE *stream;

	va_start(arguments, format);
	vsnprintf(sentence, sizeof(sentence), format, arguments);
	va_end(arguments);
	stream = open_memstream(&text, &length);
	if (stream == NULL)
		return;
	text_wrap(stream, sentence, 0, screen_width(screen));
	if (fclose(stream) == 0)
		screen_show(screen, text);
	free(text);
}

void screen_fresh(struct screen *screen)
{
	screen->used = 0;
}

void screen_forget_typed(struct screen *screen)
{
	int number = fileno(screen->in);

	if (number >= 0)
		tcflush(number, TCIFLUSH);
}

/* Waits for a line or for Ctrl-C, which is held back (see console.c). False: Ctrl-C. */
static bool wait_for_line(FILE *in)
{
	struct signalfd_siginfo about;
	struct pollfd watched[2] = {{.fd = fileno(in), .events = POLLIN}, {.events = POLLIN}};
	sigset_t held;
	bool interrupted = false;

	if (watched[0].fd < 0)
		return true;
	sigemptyset(&held);
	sigaddset(&held, SIGINT);
	sigaddset(&held, SIGQUIT);
	watched[1].fd = signalfd(-1, &held, SFD_CLOEXEC | SFD_NONBLOCK);
	while (poll(watched, 2, -1) < 0 && errno == EINTR)
		;
	if (watched[1].fd >= 0) {
		while (read(watched[1].fd, &about, sizeof(about)) == sizeof(about))
			interrupted = true;
		close(watched[1].fd);
	}
	return !interrupted;
}

static void trim(char *line)
{
	size_t length = strlen(line), start = strspn(line, " \t");

	while (length > start && strchr(" \t\r\n", line[length - 1]) != NULL)
		length--;
	memmove(line, line + start, length - start);
	line[length - start] = '\0';
}

/* Reads one line. False at the end of the input. */
static bool read_line(FILE *in, char *line, size_t size)
{
	size_t length = 0;
	int c;

	while ((c = getc(in)) != EOF && c != '\n')
		if (length + 1 < size)
			line[length++] = c == '\0' ? '?' : (char)c;
	line[length] = '\0';
	trim(line);
	return c != EOF || length > 0;
}

enum answer screen_ask(struct screen *screen, const char *prompt, char *line, size_t size)
{
	line[0] = '\0';
	for (;;) {
		fputs(prompt, screen->out);
		fflush(screen->out);
		if (!wait_for_line(screen->in)) {
			fputc('\n', screen->out);
			screen->used = 0;
			return ANSWER_INTERRUPTED;
		}
		if (read_line(screen->in, line, size))
			break;
		if (!is_terminal(screen->in))
			return ANSWER_END;
		/* Ctrl-D, or a line that hung up: it may come back, and must not keep us busy. */
		clearerr(screen->in);
		fputc('\n', screen->out);
		screen->tries++;
		sleep(screen->tries < LONGEST_WAIT ? screen->tries : LONGEST_WAIT);
	}
	screen->tries = 0;
	screen->used = 0;
	return ANSWER_LINE;
}
