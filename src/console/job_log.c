/* The log of a job: see job_log.h. */
#include "console/job_log.h"

#include "base/buf.h"
#include "base/text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define PIPE_SIZE (1 << 20)
#define SYNC_AFTER 500 /* milliseconds without a new line */

/* --- the writer --- */

static bool write_all(int file, const char *data, size_t length)
{
	while (length > 0) {
		ssize_t done = write(file, data, length);

		if (done < 0 && errno == EINTR)
			continue;
		if (done <= 0)
			return false;
		data += done;
		length -= (size_t)done;
	}
	return true;
}

/* Writes what comes until the pipe's end; synced whenever it is quiet, so that little can be lost.
 */
static _Noreturn void be_writer(int pipe, const char *path, bool again)
{
	int how = again ? O_APPEND | O_NOFOLLOW | O_NONBLOCK : O_EXCL;
	int file = open(path, O_WRONLY | O_CREAT | O_CLOEXEC | how, 0600);
	/* A power cut may have torn the last line. */
	bool good = file >= 0 && (!again || write_all(file, "\r\n", 2)), synced = true;
	char piece[16384];

	for (;;) {
		struct pollfd watched = {.fd = pipe, .events = POLLIN};
		ssize_t got;

		if (poll(&watched, 1, good && !synced ? SYNC_AFTER : -1) == 0) {
			good = fsync(file) == 0;
			synced = true;
			continue;
		}
		got = read(pipe, piece, sizeof(piece));
		if (got < 0 && errno == EINTR)
			continue;
		if (got <= 0)
			break;
		good = good && write_all(file, piece, (size_t)got);
		synced = false;
	}
	_exit(good && fsync(file) == 0 ? 0 : 1);
}

void job_log_open(struct job_log *log, const char *path, bool again)
{
	int ends[2];

	*log = (struct job_log){.pipe = -1};
	if (pipe2(ends, O_CLOEXEC) != 0)
		return;
	log->writer = fork();
	if (log->writer == 0) {
		setpgid(0, 0);
		signal(SIGPIPE, SIG_IGN);
		close(ends[1]);
		be_writer(ends[0], path, again);
	}
	close(ends[0]);
	if (log->writer < 0) {
		close(ends[1]);
		return;
	}
	log->pipe = ends[1];
	fcntl(log->pipe, F_SETPIPE_SZ, PIPE_SIZE);
	fcntl(log->pipe, F_SETFL, O_NONBLOCK);
}

/* --- lines --- */

void job_log_plain(struct job_log *log, const char *line, size_t length)
{
	char stamp[32] = "";
	struct buf text = {0};
	time_t now = time(NULL);
	struct tm tm;

	if (log->pipe < 0)
		return;
	if (localtime_r(&now, &tm) != NULL)
		strftime(stamp, sizeof(stamp), "%H:%M:%S", &tm);
	buf_add_text(&text, stamp);
	if (length > 0)
		buf_add_text(&text, "  ");
	buf_add(&text, line, length);
	/* Old editors show nothing but one long line otherwise. */
	buf_add_text(&text, "\r\n");
	/* A line is written whole, or not at all. */
	if (text.failed || text.length > PIPE_SIZE / 2 ||
	    write(log->pipe, text.data, text.length) != (ssize_t)text.length)
		log->dropped = true;
	buf_free(&text);
}

void job_log_line(struct job_log *log, const char *format, ...)
{
	va_list arguments;
	char *text = NULL, *rest, *line;

	va_start(arguments, format);
	if (vasprintf(&text, format, arguments) < 0)
		text = NULL;
	va_end(arguments);
	if (text == NULL)
		log->dropped = true;
	rest = text;
	while (rest != NULL && (line = strsep(&rest, "\n")) != NULL) {
		struct buf escaped = {0};

		text_escape(&escaped, line);
		job_log_plain(log, buf_text(&escaped), escaped.length);
		buf_free(&escaped);
	}
	free(text);
}

bool job_log_close(struct job_log *log, unsigned seconds)
{
	unsigned steps = seconds * 20;
	int status = 1;
	pid_t got;

	if (log->pipe < 0)
		return false;
	close(log->pipe);
	log->pipe = -1;
	while ((got = waitpid(log->writer, &status, WNOHANG)) == 0 && steps-- > 0)
		usleep(50000);
	if (got == 0) {
		kill(log->writer, SIGKILL);
		usleep(200000);
		waitpid(log->writer, NULL, WNOHANG);
		return false;
	}
	return got == log->writer && WIFEXITED(status) && WEXITSTATUS(status) == 0 && !log->dropped;
}
