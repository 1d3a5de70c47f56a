/*
 * How a failure travels up: as a value that the caller owns, never as an exit.
 *
 * A function that can fail takes a `struct error *`, returns false (or NULL) and fills it with the
 * exit status that the failure would mean for a whole command and one sentence for a person.
 * Damage on an old drive is not a failure: it becomes a finding (finding.h) and work goes on.
 */
#ifndef BASE_ERROR_H
#define BASE_ERROR_H

#include <stdbool.h>

/* The exit statuses of every command. */
enum status {
	STATUS_COMPLETE = 0,
	STATUS_LOSSES = 1,      /* finished, with losses that are listed */
	STATUS_USAGE = 2,       /* the command line is wrong */
	STATUS_NO_VOLUME = 3,   /* no readable volume found */
	STATUS_DESTINATION = 4, /* full, read-only, too small, same drive as a source */
	STATUS_OTHER = 5,
};

struct error {
	enum status status;
	char text[600];
};

/*
 * Fills *error with one sentence (no full stop at its end, no line break). A NULL error is allowed
 * where the caller does not care. Always returns false, so that `return error_set(...)` reads well.
 */
bool error_set(struct error *error, enum status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* The same, followed by ": " and the words for the errno value `number`. */
bool error_set_errno(struct error *error, enum status status, int number, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* What to say when memory runs out. Always returns false. */
bool error_no_memory(struct error *error);

#endif
