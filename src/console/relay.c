/* Running a command for a job: see relay.h. */
#include "console/relay.h"

#include "base/moment.h"
#include "console/program.h"
#include "console/relay_text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <sys/signalfd.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#define AFTER_CTRL_C 60000 /* milliseconds for ending cleanly */
#define AFTER_KILL 5000
#define JSON_LIMIT ((size_t)32 << 20)

struct relay {
	pid_t child;
	int json;      /* pipe */
	int text;      /* pipe, or the master of a pseudo-terminal */
	int handle;    /* pidfd; -1: none */
	int keys;      /* signalfd for Ctrl-C */
	int64_t until; /* of patience; 0: any time */
	bool killed;
	struct relay_text lines;
};

/* --- starting --- */

/*
 * A pair of descriptors for the text. Where standard error is a terminal it is one too, of the same
 * size: the command then draws its progress as always. False: neither could be had.
 */
static bool make_channel(int *ours, int *theirs)
{
	struct winsize size;
	struct termios settings;
	char name[64];
	int ends[2];

	*ours = isatty(STDERR_FILENO) == 1 ? posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC) : -1;
	if (*ours >= 0) {
		*theirs = grantpt(*ours) == 0 && unlockpt(*ours) == 0 &&
				  ptsname_r(*ours, name, sizeof(name)) == 0
			      ? open(name, O_RDWR | O_NOCTTY | O_CLOEXEC)
			      : -1;
		if (*theirs >= 0) {
			if (ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0)
				ioctl(*theirs, TIOCSWINSZ, &size);
			/* The real terminal does what has to be done with line ends. */
			if (tcgetattr(*theirs, &settings) == 0) {
				cfmakeraw(&settings);
				tcsetattr(*theirs, TCSANOW, &settings);
			}
			return true;
		}
		close(*ours);
	}
	if (pipe2(ends, O_CLOEXEC) != 0)
		return false;
	*ours = ends[0];
	*theirs = ends[1];
	return true;
}

static bool start(struct relay *relay, const char *const *arguments, struct error *error)
{
	int json[2], text;

	if (pipe2(json, O_CLOEXEC) != 0)
		return error_set_errno(error, STATUS_OTHER, errno, "no pipe");
	if (!make_channel(&relay->text, &text)) {
		close(json[0]);
		close(json[1]);
		return error_set_errno(error, STATUS_OTHER, errno, "no pipe");
	}
	relay->json = json[0];
	relay->child = fork();
	if (relay->child == 0)
		program_become("/proc/self/exe", arguments, json[1], text);
	close(json[1]);
	close(text);
	if (relay->child > 0) {
		relay->handle = (int)syscall(SYS_pidfd_open, relay->child, 0);
		return true;
	}
	close(relay->json);
	close(relay->text);
	return error_set_errno(error, STATUS_OTHER, errno, "no process could be started");
}

/* --- while it runs --- */

/* Takes a piece of JSON; closes the pipe at its end. */
static void take_json(struct relay *relay, struct buf *out)
{
	char piece[65536];
	ssize_t got = read(relay->json, piece, sizeof(piece));

	if (got < 0 && (errno == EINTR || errno == EAGAIN))
		return;
	if (got <= 0) {
		close(relay->json);
		relay->json = -1;
	} else if (out->length + (size_t)got <= JSON_LIMIT) {
		buf_add(out, piece, (size_t)got);
	} else {
		out->failed = true; /* read on, so that it does not wait for us */
	}
}

/* The other end of a pseudo-terminal is gone: EIO. */
static void take_text(struct relay *relay)
{
	char piece[16384];
	ssize_t got = read(relay->text, piece, sizeof(piece));

	if (got < 0 && (errno == EINTR || errno == EAGAIN))
		return;
	if (got <= 0) {
		close(relay->text);
		relay->text = -1;
		return;
	}
	relay_text_add(&relay->lines, piece, (size_t)got);
}

static void take_keys(struct relay *relay, struct relay_end *end)
{
	struct signalfd_siginfo about;

	while (read(relay->keys, &about, sizeof(about)) == sizeof(about)) {
		end->interrupted = true;
		if (relay->until == 0)
			relay->until = moment_now() + AFTER_CTRL_C;
	}
}

/* Has it ended? */
static bool has_ended(struct relay *relay, struct relay_end *end)
{
	int status = 0;
	pid_t got = waitpid(relay->child, &status, WNOHANG);

	if (got == 0 || (got < 0 && errno == EINTR))
		return false;
	end->status = got < 0 ? 255 : program_status(status);
	return true;
}

/* What it said before it ended; what it started and left running may hold the pipes open. */
static void drain(struct relay *relay, struct relay_end *end)
{
	for (unsigned i = 0; i < 4096 && (relay->json >= 0 || relay->text >= 0); i++) {
		struct pollfd watched[2] = {
		    {.fd = relay->json, .events = POLLIN}, {.fd = relay->text, .events = POLLIN}};

		if (poll(watched, 2, 0) <= 0)
			return;
		if (watched[0].revents != 0)
			take_json(relay, &end->json);
		if (watched[1].revents != 0)
			take_text(relay);
	}
}

/* False: patience ran out even after it was killed. */
static bool out_of_patience(struct relay *relay)
{
	if (relay->until == 0 || moment_now() < relay->until)
		return false;
	if (relay->killed)
		return true;
	kill(relay->child, SIGKILL);
	relay->killed = true;
	relay->until = moment_now() + AFTER_KILL;
	return false;
}

static void watch(struct relay *relay, struct relay_end *end)
{
	while (!has_ended(relay, end)) {
		struct pollfd watched[4] = {{.fd = relay->json, .events = POLLIN},
		    {.fd = relay->text, .events = POLLIN}, {.fd = relay->keys, .events = POLLIN},
		    {.fd = relay->handle, .events = POLLIN}};
		bool short_wait = relay->until != 0 || relay->handle < 0;

		if (poll(watched, 4, short_wait ? 500 : -1) > 0) {
			if (watched[0].revents != 0)
				take_json(relay, &end->json);
			if (watched[1].revents != 0)
				take_text(relay);
			if (watched[2].revents != 0)
				take_keys(relay, end);
		}
		if (out_of_patience(relay)) {
			end->left_behind = true;
			end->status = 128 + SIGKILL;
			return;
		}
	}
	drain(relay, end);
}

bool relay_run(
    const char *const *arguments, struct job_log *log, struct relay_end *end, struct error *error)
{
	struct relay relay = {.handle = -1};
	sigset_t keys, before;
	bool good;

	*end = (struct relay_end){0};
	relay_text_start(&relay.lines, log, isatty(STDERR_FILENO) == 1);
	sigemptyset(&keys);
	sigaddset(&keys, SIGINT);
	sigprocmask(SIG_BLOCK, &keys, &before);
	relay.keys = signalfd(-1, &keys, SFD_CLOEXEC | SFD_NONBLOCK);
	good = start(&relay, arguments, error);
	if (good) {
		watch(&relay, end);
		take_keys(&relay, end);
		relay_text_end(&relay.lines, end->complaint, sizeof(end->complaint));
		if (relay.json >= 0)
			close(relay.json);
		if (relay.text >= 0)
			close(relay.text);
		if (relay.handle >= 0)
			close(relay.handle);
	}
	if (relay.keys >= 0)
		close(relay.keys);
	sigprocmask(SIG_SETMASK, &before, NULL);
	return good;
}
