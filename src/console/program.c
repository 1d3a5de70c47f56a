/* Running programs from the start screen: see program.h. */
#include "console/program.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <sys/signalfd.h>
#include <sys/wait.h>
#include <termios.h>
#include <unistd.h>

#define AFTER_CTRL_C 8000 /* milliseconds that a program has for ending after Ctrl-C */
#define AFTER_KILL 3000   /* and after it was killed */
#define SETTLED 700       /* milliseconds without more to say, after a whole document */

/* --- the terminal --- */

struct terminal {
	bool known;
	struct termios settings;
};

static void terminal_keep(struct terminal *terminal)
{
	terminal->known = tcgetattr(STDIN_FILENO, &terminal->settings) == 0;
}

/* A shell takes the terminal for itself, and a program that died leaves it in any state. */
static void terminal_take_back(const struct terminal *terminal)
{
	sigset_t output, before;

	if (!terminal->known)
		return;
	sigemptyset(&output);
	sigaddset(&output, SIGTTOU);
	sigprocmask(SIG_BLOCK, &output, &before);
	tcsetpgrp(STDIN_FILENO, getpgrp());
	tcsetattr(STDIN_FILENO, TCSADRAIN, &terminal->settings);
	sigprocmask(SIG_SETMASK, &before, NULL);
}

/* --- in the new process --- */

static void set_default(int number)
{
	signal(number, SIG_DFL);
}

/*
 * Signals as a program expects them. Where its output is collected only Ctrl-Z stays off, since
 * nobody would wake it again.
 */
void program_become(const char *file, const char *const *arguments, int output, int errors)
{
	sigset_t none;

	sigemptyset(&none);
	sigprocmask(SIG_SETMASK, &none, NULL);
	if (output < 0)
		set_default(SIGTSTP);
	set_default(SIGTTIN);
	set_default(SIGTTOU);
	set_default(SIGPIPE);
	if ((output >= 0 && dup2(output, STDOUT_FILENO) < 0) ||
	    (errors >= 0 && dup2(errors, STDERR_FILENO) < 0))
		_exit(127);
	/* exec changes neither the texts nor the list: it only lacks the const of today. */
	execvp(file, (char *const *)(uintptr_t)arguments);
	_exit(127);
}

int program_status(int status)
{
	return WIFEXITED(status)     ? WEXITSTATUS(status)
	       : WIFSIGNALED(status) ? 128 + WTERMSIG(status)
				     : 255;
}

bool program_run(const char *const *arguments, struct program_end *end, struct error *error)
{
	struct terminal terminal;
	pid_t child;
	int status = 0;

	*end = (struct program_end){0};
	terminal_keep(&terminal);
	child = fork();
	if (child == 0)
		program_become(arguments[0], arguments, -1, -1);
	if (child < 0)
		return error_set_errno(
		    error, STATUS_OTHER, errno, "%s could not be started", arguments[0]);
	while (waitpid(child, &status, 0) < 0 && errno == EINTR)
		;
	end->status = program_status(status);
	terminal_take_back(&terminal);
	if (end->status == 127)
		return error_set(error, STATUS_OTHER, "%s could not be started", arguments[0]);
	return true;
}

/* --- collecting what a program says --- */

struct capture {
	pid_t child;
	int pipe;     /* what it says */
	int keys;     /* signalfd for Ctrl-C; -1 */
	int patience; /* milliseconds; -1: any time */
	bool killed;
	bool whole; /* all was said, but it does not end */
};

/* One piece of output. False at its end. */
static bool take_piece(struct capture *capture, size_t limit, struct buf *out)
{
	char piece[65536];
	ssize_t got = read(capture->pipe, piece, sizeof(piece));

	if (got < 0)
		return errno == EINTR || errno == EAGAIN;
	if (got == 0)
		return false;
	if (out->length + (size_t)got > limit)
		out->failed = true;
	else
		buf_add(out, piece, (size_t)got);
	if (!out->failed)
		return true;
	kill(capture->child, SIGKILL);
	return false;
}

static void take_key(struct capture *capture, struct program_end *end)
{
	struct signalfd_siginfo about;

	while (read(capture->keys, &about, sizeof(about)) == sizeof(about)) {
		end->interrupted = true;
		if (capture->patience < 0)
			capture->patience = AFTER_CTRL_C;
	}
}

/* Does it end as a whole document does, with the outermost bracket alone on a line? */
static bool is_whole(const struct buf *out)
{
	size_t length = out->length;

	if (length > 0 && out->data[length - 1] == '\n')
		length--;
	return length >= 2 && out->data[length - 1] == '}' && out->data[length - 2] == '\n';
}

/*
 * Collects until the output ends. False: the process was killed and does not end.
 *
 * A process with a thread that hangs in the kernel does not end when it has done its work, and its
 * end of the pipe stays open: once the document is whole nobody waits for that.
 */
static bool collect(struct capture *capture, size_t limit, struct buf *out, struct program_end *end)
{
	struct pollfd watched[2] = {
	    {.fd = capture->pipe, .events = POLLIN}, {.fd = capture->keys, .events = POLLIN}};

	for (;;) {
		bool whole = is_whole(out);
		int ready = poll(watched, 2, whole ? SETTLED : capture->patience);

		if (ready < 0 && errno != EINTR)
			return true;
		if (ready == 0 && whole) {
			capture->whole = true;
			return true;
		}
		if (ready == 0 && capture->killed)
			return false;
		if (ready == 0) {
			kill(capture->child, SIGKILL);
			capture->killed = true;
			capture->patience = AFTER_KILL;
		}
		if (ready > 0 && watched[1].revents != 0)
			take_key(capture, end);
		if (ready > 0 && watched[0].revents != 0 && !take_piece(capture, limit, out))
			return true;
	}
}

/*
 * The output has ended; the process mostly has too. False: it does not. One that has said all and
 * does not end is given no further time.
 */
static bool wait_for(struct capture *capture, struct program_end *end)
{
	int status = 0;

	if (capture->whole)
		kill(capture->child, SIGKILL);
	for (int i = 0; i < 100; i++) {
		pid_t got = waitpid(capture->child, &status, WNOHANG);

		if (got == capture->child || (got < 0 && errno != EINTR)) {
			end->status = program_status(status);
			break;
		}
		if (capture->whole && i == 10)
			break;
		if (i == 99)
			return false;
		if (i == 60)
			kill(capture->child, SIGKILL);
		usleep(i < 10 ? 2000 : 100000);
	}
	if (capture->whole)
		end->status = 0;
	return true;
}

static bool judge(
    bool ended, const struct buf *out, const struct program_end *end, struct error *error)
{
	if (!ended)
		return error_set(error, STATUS_OTHER,
		    "a drive does not answer; what was reading it had to be left behind");
	if (end->interrupted)
		return error_set(error, STATUS_OTHER, "it was stopped");
	if (out->failed)
		return error_set(error, STATUS_OTHER, "there was too much to tell");
	if (end->status >= 126)
		return error_set(error, STATUS_OTHER,
		    "what was reading the drives ended in the middle (%d)", end->status);
	return true;
}

bool program_capture(const char *const *arguments, size_t limit, struct buf *out,
    struct program_end *end, struct error *error)
{
	struct capture capture = {.patience = -1};
	struct terminal terminal;
	int ends[2];
	sigset_t keys;
	bool ended;

	*end = (struct program_end){0};
	if (pipe2(ends, O_CLOEXEC) != 0)
		return error_set_errno(error, STATUS_OTHER, errno, "no pipe");
	terminal_keep(&terminal);
	capture.child = fork();
	if (capture.child == 0)
		program_become("/proc/self/exe", arguments, ends[1], -1);
	close(ends[1]);
	capture.pipe = ends[0];
	if (capture.child < 0) {
		close(ends[0]);
		return error_set_errno(error, STATUS_OTHER, errno, "no process could be started");
	}
	sigemptyset(&keys);
	sigaddset(&keys, SIGINT);
	capture.keys = signalfd(-1, &keys, SFD_CLOEXEC | SFD_NONBLOCK);
	ended = collect(&capture, limit, out, end);
	close(capture.pipe);
	ended = ended && wait_for(&capture, end);
	if (capture.keys >= 0)
		close(capture.keys);
	terminal_take_back(&terminal);
	return judge(ended, out, end, error);
}
