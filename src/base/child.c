/* Running another program with a time limit; see child.h. */
#include "base/child.h"

#include "base/moment.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <stdbool.h>
#include <stdint.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#define PIECE 16384u
#define STEP 50 /* milliseconds between two looks where the kernel has no pidfd (before 5.3) */

struct child {
	pid_t id;
	int handle;       /* pidfd, readable once it has ended; -1: none */
	int pipe;         /* -1: its end was reached */
	int64_t deadline; /* milliseconds of the monotonic clock */
	size_t room;      /* bytes that it may still say */
	struct buf *out;
	bool flooded;
};

/* --- starting --- */

/* In the order of the numbers, so that none is replaced before it was copied. */
static int set_files(posix_spawn_file_actions_t *files, int output)
{
	int failed =
	    posix_spawn_file_actions_addopen(files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);

	if (failed == 0)
		failed = posix_spawn_file_actions_adddup2(files, output, STDOUT_FILENO);
	if (failed == 0)
		failed = posix_spawn_file_actions_addopen(
		    files, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
	if (failed == 0)
		failed = posix_spawn_file_actions_addclosefrom_np(files, STDERR_FILENO + 1);
	return failed;
}

static int set_signals(posix_spawnattr_t *attributes)
{
	sigset_t none, usual;

	sigemptyset(&none);
	sigemptyset(&usual);
	sigaddset(&usual, SIGPIPE);
	posix_spawnattr_setsigmask(attributes, &none);
	posix_spawnattr_setsigdefault(attributes, &usual);
	posix_spawnattr_setpgroup(attributes, 0);
	return posix_spawnattr_setflags(
	    attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF | POSIX_SPAWN_SETPGROUP);
}

/* 0, or an errno value. */
static int start(pid_t *id, const char *const *arguments, int output)
{
	posix_spawn_file_actions_t files;
	posix_spawnattr_t attributes;
	int failed = posix_spawn_file_actions_init(&files);

	if (failed != 0)
		return failed;
	failed = posix_spawnattr_init(&attributes);
	if (failed == 0) {
		failed = set_files(&files, output);
		if (failed == 0)
			failed = set_signals(&attributes);
		/* Neither the texts nor the list are changed: only the const of today is missing.
		 */
		if (failed == 0)
			failed = posix_spawnp(id, arguments[0], &files, &attributes,
			    (char *const *)(uintptr_t)arguments, environ);
		posix_spawnattr_destroy(&attributes);
	}
	posix_spawn_file_actions_destroy(&files);
	return failed;
}

/* --- while it runs --- */

/* One piece of output. False: there is nothing more to get at the moment, or never. */
static bool take_piece(struct child *child)
{
	uint8_t piece[PIECE];
	ssize_t got;

	if (child->pipe < 0 || child->flooded)
		return false;
	got = read(child->pipe, piece, sizeof(piece));
	if (got < 0 && (errno == EAGAIN || errno == EINTR))
		return errno == EINTR;
	if (got <= 0) {
		close(child->pipe);
		child->pipe = -1;
		return false;
	}
	child->flooded = (size_t)got > child->room;
	if (child->flooded)
		got = (ssize_t)child->room;
	buf_add(child->out, piece, (size_t)got);
	child->room -= (size_t)got;
	return !child->flooded;
}

/* Has it ended? It is still there to be waited for, so that its number belongs to nobody else. */
static bool has_ended(const struct child *child)
{
	siginfo_t about = {0};

	if (waitid(P_PID, (id_t)child->id, &about, WEXITED | WNOHANG | WNOWAIT) != 0)
		return errno == ECHILD;
	return about.si_pid != 0;
}

/* Waits for output, the end or the deadline. */
static void wait_a_while(const struct child *child, bool for_output, int64_t left)
{
	struct pollfd watched[2] = {{.fd = for_output ? child->pipe : -1, .events = POLLIN},
	    {.fd = child->handle, .events = POLLIN}};

	if (child->handle < 0 && left > STEP)
		left = STEP;
	poll(watched, 2, left > INT32_MAX ? INT32_MAX : (int)left);
}

/* True: it ended by itself. */
static bool listen(struct child *child)
{
	for (;;) {
		int64_t left = child->deadline - moment_now();
		bool ended = has_ended(child);

		/* What it said before it ended is in the pipe, also where others hold that open. */
		while (take_piece(child))
			;
		if (child->flooded || ended)
			return ended;
		if (left <= 0)
			return false;
		wait_a_while(child, true, left);
	}
}

static bool is_gone_within(const struct child *child, unsigned grace)
{
	int64_t until = moment_now() + grace, left;

	while (!has_ended(child)) {
		left = until - moment_now();
		if (left <= 0)
			return false;
		wait_a_while(child, false, left);
	}
	return true;
}

static struct child_end finish(struct child *child, const struct child_limits *limits)
{
	bool by_itself = listen(child);
	struct child_end end = {child->flooded ? CHILD_FLOODED : CHILD_TIMED_OUT, 0};
	int status = 0;

	/* The whole group: also what it started and left running. */
	kill(-child->id, SIGKILL);
	if (!by_itself && !is_gone_within(child, limits->grace)) {
		end.how = CHILD_LEFT_BEHIND;
		return end;
	}
	while (waitpid(child->id, &status, 0) < 0 && errno == EINTR)
		;
	if (!by_itself || child->flooded)
		return end;
	end.how = WIFSIGNALED(status) ? CHILD_SIGNALLED : CHILD_EXITED;
	end.number = WIFSIGNALED(status) ? WTERMSIG(status) : WEXITSTATUS(status);
	return end;
}

struct child_end child_run(
    const char *const *arguments, const struct child_limits *limits, struct buf *out)
{
	struct child child = {.handle = -1,
	    .deadline = moment_now() + limits->milliseconds,
	    .room = limits->output,
	    .out = out};
	struct child_end end;
	int ends[2], failed;

	if (pipe2(ends, O_CLOEXEC) != 0)
		return (struct child_end){CHILD_NOT_STARTED, errno};
	failed = start(&child.id, arguments, ends[1]);
	close(ends[1]);
	if (failed != 0) {
		close(ends[0]);
		return (struct child_end){
		    failed == ENOENT || failed == ENOTDIR ? CHILD_NOT_FOUND : CHILD_NOT_STARTED,
		    failed};
	}
	child.pipe = ends[0];
	fcntl(child.pipe, F_SETFL, O_NONBLOCK);
	child.handle = (int)syscall(SYS_pidfd_open, child.id, 0);
	end = finish(&child, limits);
	if (child.pipe >= 0)
		close(child.pipe);
	if (child.handle >= 0)
		close(child.handle);
	if (out->failed)
		return (struct child_end){CHILD_NOT_STARTED, ENOMEM};
	return end;
}
