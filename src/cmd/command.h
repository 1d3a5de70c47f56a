/*
 * What the commands share: each is one file with one function, main() only picks one.
 */
#ifndef CMD_COMMAND_H
#define CMD_COMMAND_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

struct command {
	const char *name;
	const char *usage;   /* "survey [options] SOURCE..." */
	const char *summary; /* one line */
	/* argv[0] is the command's own name. Returns the exit status; prints its own error. */
	enum status (*run)(int argc, char **argv);
};

enum status command_drives(int argc, char **argv);
enum status command_survey(int argc, char **argv);
enum status command_extract(int argc, char **argv);
enum status command_verify(int argc, char **argv);
enum status command_console(int argc, char **argv);

/* Options that every command knows. */
struct common_options {
	bool json;  /* one JSON document on standard output, text for people on standard error */
	bool quiet; /* no progress, no text for people */
	bool no_text; /* no text for people, but progress: for a program that shows it in its own way */
	/* --not DRIVE: room for argc of them. NULL: the command does not know this option. */
	const char **ruled_out;
	size_t n_ruled_out;
};

/*
 * Reads the options of a command that has no others. Prints `help` for --help, and complains of an
 * option that is not known. Returns the index of the first argument behind the options, or -1 when
 * the command ends here, with *status.
 */
int command_options(int argc, char **argv, const char *help, struct common_options *options,
    enum status *status);

/* Prints "coldlift: sentence." on standard error, escaped and wrapped. */
void command_complain(const struct error *error);

#endif
