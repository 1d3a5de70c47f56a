/* The command `console`: the live stick's start screen. */
#include "cmd/command.h"
#include "cmd/sources.h"

#include "console/dialogue.h"

#include <stdio.h>

static const char help[] =
    "usage: coldlift console\n\n"
    "The start screen of the live stick: shows drives, old systems and what is\n"
    "wrong, says what to do next, and takes everything to another drive. The live\n"
    "stick starts it by itself. It works only there, because it mounts the\n"
    "destination and switches the PC off.\n\n"
    "  --help    this text\n\n"
    "Exit status: 0 when the terminal is gone, 2 wrong command line or not on the\n"
    "live stick.\n";

enum status command_console(int argc, char **argv)
{
	struct common_options options = {0};
	struct error error;
	struct stick stick;
	enum status status;
	int first = command_options(argc, argv, help, &options, &status);

	if (first < 0)
		return status;
	stick_find("", &stick);
	if (first < argc)
		error_set(&error, STATUS_USAGE, "console takes no arguments");
	else if (!stick.here)
		error_set(&error, STATUS_USAGE,
		    "console is the start screen of the live stick and works only there; here, "
		    "coldlift drives, survey and extract do the same work");
	else {
		dialogue_run(stdin, stdout, "");
		return STATUS_COMPLETE;
	}
	command_complain(&error);
	return error.status;
}
