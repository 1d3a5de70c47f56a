/* The command `extract`. */
#include "cmd/command.h"

enum status command_extract(int argc, char **argv)
{
	struct error error;

	(void)argc;
	error_set(&error, STATUS_OTHER, "the command %s is not there yet", argv[0]);
	command_complain(&error);
	return error.status;
}
