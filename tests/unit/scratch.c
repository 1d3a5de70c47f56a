/* A fresh folder for each test: see scratch.h. */
#include "unit.h"

#include "scratch.h"

#include "base/locale.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[64];

int make_folder(void **state)
{
	struct error error;

	(void)state;
	assert_true(locale_use_utf8(&error));
	strcpy(folder, "/tmp/coldlift-unit-XXXXXX");
	assert_non_null(mkdtemp(folder));
	return 0;
}

int remove_folder(void **state)
{
	char command[200];

	(void)state;
	/* Whatever a test made read-only. */
	snprintf(command, sizeof(command), "chmod -R u+w '%s' && rm -rf '%s'", folder, folder);
	return system(command) == 0 ? 0 : -1;
}

const char *inside(const char *name)
{
	static char paths[4][160];
	static unsigned next;
	char *path = paths[next++ % 4];

	snprintf(path, sizeof(paths[0]), "%s/%s", folder, name);
	return path;
}

int shell(const char *script)
{
	char command[4000];

	snprintf(command, sizeof(command), "cd '%s' && { %s\n}", folder, script);
	return system(command);
}
