/* coldlift: picks the command and runs it. */
#include "base/locale.h"
#include "cmd/command.h"

#include <stdio.h>
#include <string.h>

static const struct command commands[] = {
    {"drives", "drives [options] [SOURCE...]", "list drives and volumes", command_drives},
    {"survey", "survey [options] [SOURCE...]", "say whose PC it was and where everything is",
	command_survey},
    {"extract", "extract --to DIR [options] [SOURCE...]", "make a proven archive under DIR",
	command_extract},
    {"verify", "verify [options] FOLDER...", "prove a job from its own files", command_verify},
    {"console", "console", "the live stick's start screen", command_console},
};
#define N_COMMANDS (sizeof(commands) / sizeof(commands[0]))

static void print_help(FILE *stream)
{
	fputs("coldlift lifts people's files off the drives of an old Windows PC that is not "
	      "running.\n"
	      "It only ever reads the old drives.\n\n"
	      "usage: coldlift COMMAND [options] SOURCE...\n\n"
	      "A SOURCE is a drive (/dev/sdb) or an image file of a drive or volume.\n\n",
	    stream);
	for (size_t i = 0; i < N_COMMANDS; i++)
		fprintf(stream, "  %-10s %s\n", commands[i].name, commands[i].summary);
	fputs("\n`coldlift COMMAND --help` tells more. `coldlift --version` tells the version.\n"
	      "Exit status: 0 complete, 1 finished with losses that are listed, 2 wrong command "
	      "line,\n"
	      "3 no readable volume, 4 the destination failed, 5 anything else.\n",
	    stream);
}

int main(int argc, char **argv)
{
	struct error error;

	if (argc < 2) {
		print_help(stderr);
		return STATUS_USAGE;
	}
	if (strcmp(argv[1], "--help") == 0) {
		print_help(stdout);
		return STATUS_COMPLETE;
	}
	if (strcmp(argv[1], "--version") == 0) {
		puts("coldlift " COLDLIFT_VERSION);
		return STATUS_COMPLETE;
	}
	for (size_t i = 0; i < N_COMMANDS; i++) {
		if (strcmp(argv[1], commands[i].name) != 0)
			continue;
		if (!locale_use_utf8(&error)) {
			command_complain(&error);
			return error.status;
		}
		return commands[i].run(argc - 1, argv + 1);
	}
	error_set(&error, STATUS_USAGE,
	    "there is no command called '%s' (coldlift --help lists them)", argv[1]);
	command_complain(&error);
	return error.status;
}
