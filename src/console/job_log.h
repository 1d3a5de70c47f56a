/*
 * The log of a job from the live stick: a text file beside the job's folder, each line with the
 * time of the PC's clock, in UTF-8.
 *
 * It is written by a process of its own, since the destination may hang or be pulled out: the job
 * does not wait for its log, and lines are dropped rather than that.
 */
#ifndef CONSOLE_JOB_LOG_H
#define CONSOLE_JOB_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

struct job_log {
	int pipe; /* -1: there is no log */
	pid_t writer;
	bool dropped; /* lines were lost */
};

/*
 * Begins the file `path` (mode 0600), which must not exist; with `again` it goes on behind what
 * stands there. A log that cannot be written is none.
 */
void job_log_open(struct job_log *log, const char *path, bool again);

/* Adds a line of inner text; it is escaped. Lines in the text stand in lines of their own. */
void job_log_line(struct job_log *log, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* Adds one line that is fit for a terminal already, `length` bytes without its end. */
void job_log_plain(struct job_log *log, const char *line, size_t length);

/*
 * Ends the log and waits until it is written out, `seconds` at most. False when it is not whole on
 * the destination, as far as is known.
 */
bool job_log_close(struct job_log *log, unsigned seconds);

#endif
