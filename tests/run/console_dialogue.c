/*
 * The start screen's dialogue away from a live stick, for console_dialogue.py.
 *
 * usage: console_dialogue ROOT      (a folder with copies of sys/ and run/ in it)
 *
 * The dialogue runs "its own program" for the commands, which is this one: they are handed to the
 * program named by STAND_IN in the environment.
 */
#include "console/dialogue.h"

#include "base/locale.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int main(int argc, char **argv)
{
	const char *stand_in = getenv("STAND_IN");
	struct error error;

	if (argc == 2 && argv[1][0] == '/' && locale_use_utf8(&error)) {
		dialogue_run(stdin, stdout, argv[1]);
		return 0;
	}
	if (stand_in == NULL || argc < 2)
		return 2;
	execv(stand_in, argv);
	return 127;
}
