/* Work in a process of its own: see apart.h. */
#include "console/apart.h"

#include "base/moment.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define GRACE 3000 /* milliseconds in which a killed process must be gone */

/* What goes through the pipe in front of the answer; of an error only the text follows. */
struct header {
	bool good;
	enum status status;
};

/* --- in the other process --- */

static void put(int pipe, const void *data, size_t length)
{
	const char *at = data;

	while (length > 0) {
		ssize_t done = write(pipe, at, length);

		if (done < 0 && errno == EINTR)
			continue;
		if (done <= 0)
			_exit(1);
		at += done;
		length -= (size_t)done;
	}
}

static _Noreturn void be_apart(apart_work *work, const void *about, int pipe)
{
	struct buf answer = {0};
	struct error error = {0};
	struct header header = {.good = work(about, &answer, &error)};

	if (header.good && answer.failed)
		header.good = error_no_memory(&error);
	header.status = error.status;
	put(pipe, &header, sizeof(header));
	if (header.good)
		put(pipe, buf_text(&answer), answer.length);
	else
		put(pipe, error.text, strlen(error.text));
	_exit(0);
}

/* --- in this one --- */

/* Collects until the pipe's end. False: it took too long, or there was too much. */
static bool collect(int pipe, int64_t until, struct buf *out)
{
	for (;;) {
		char piece[4096];
		int64_t left = until - moment_now();
		struct pollfd watched = {.fd = pipe, .events = POLLIN};
		ssize_t got;

		if (left <= 0 || out->length > APART_ANSWER_LIMIT + sizeof(struct header))
			return false;
		if (poll(&watched, 1, left > 1000000 ? 1000000 : (int)left) <= 0)
			continue;
		got = read(pipe, piece, sizeof(piece));
		if (got < 0 && errno != EINTR)
			return false;
		if (got == 0)
			return true;
		if (got > 0)
			buf_add(out, piece, (size_t)got);
	}
}

/* Waits for the end of the process, which is near. */
static void bury(pid_t child)
{
	int64_t until = moment_now() + GRACE;

	while (waitpid(child, NULL, WNOHANG) == 0 && moment_now() < until)
		usleep(5000);
}

static bool judge(const struct buf *said, struct buf *answer, struct error *error)
{
	struct header header;

	if (said->failed)
		return error_no_memory(error);
	if (said->length < sizeof(header))
		return error_set(error, STATUS_OTHER, "a process of coldlift ended by mistake");
	memcpy(&header, said->data, sizeof(header));
	if (!header.good)
		return error_set(error, header.status, "%s", buf_text(said) + sizeof(header));
	buf_add(answer, said->data + sizeof(header), said->length - sizeof(header));
	return !answer->failed || error_no_memory(error);
}

bool apart_run(apart_work *work, const void *about, unsigned seconds, struct buf *answer,
    bool *late, struct error *error)
{
	struct buf said = {0};
	bool whole, good;
	int ends[2];
	pid_t child;

	if (late != NULL)
		*late = false;
	if (pipe2(ends, O_CLOEXEC) != 0)
		return error_set_errno(error, STATUS_OTHER, errno, "no pipe");
	child = fork();
	if (child == 0) {
		/* Ctrl-C is not for it, and all that it starts can be reached by one number. */
		setpgid(0, 0);
		be_apart(work, about, ends[1]);
	}
	close(ends[1]);
	if (child < 0) {
		close(ends[0]);
		return error_set_errno(error, STATUS_OTHER, errno, "no process could be started");
	}
	setpgid(child, child);
	whole = collect(ends[0], moment_now() + (int64_t)seconds * 1000, &said);
	close(ends[0]);
	if (!whole)
		kill(-child, SIGKILL);
	bury(child);
	if (late != NULL)
		*late = !whole;
	good = whole ? judge(&said, answer, error)
		     : error_set(error, STATUS_OTHER, "the drive does not answer");
	buf_free(&said);
	return good;
}
