/*
 * Glances at a volume, or opens and closes it, as the live stick does: for tests of what that
 * changes on it.
 *
 * usage: target_look peek|write DEVICE FILESYSTEM NAME
 *
 * peek prints "found", "old-system" where that is so, and the file's bytes. write opens the volume,
 * writes the file NAME, and closes it.
 */
#include "console/target.h"

#include <stdio.h>
#include <string.h>

static int complain(const struct error *error)
{
	fprintf(stderr, "%s\n", error->text);
	return error->status;
}

static int peek(const struct look_volume *volume, const char *name)
{
	struct target_view view;
	struct error error = {0};

	if (!target_peek(volume, name, 65536, &view, &error))
		return complain(&error);
	if (view.found)
		puts("found");
	if (view.old_system)
		puts("old-system");
	fwrite(buf_text(&view.text), 1, view.text.length, stdout);
	buf_free(&view.text);
	return 0;
}

static int write_file(const struct look_volume *volume, const char *name)
{
	struct error error = {0};
	char path[1000];
	FILE *file;

	if (!target_open(volume, TARGET_FOLDER, &error))
		return complain(&error);
	snprintf(path, sizeof(path), TARGET_FOLDER "/%s", name);
	file = fopen(path, "wxe");
	if (file != NULL) {
		fputs("plums and gooseberries\n", file);
		fclose(file);
	}
	if (!target_close(volume, TARGET_FOLDER, &error))
		return complain(&error);
	return file != NULL ? 0 : 5;
}

int main(int argc, char **argv)
{
	struct look_volume volume = {.label = "", .letter = "", .kind = ""};

	if (argc != 5)
		return 2;
	volume.device = argv[2];
	volume.filesystem = argv[3];
	return strcmp(argv[1], "peek") == 0 ? peek(&volume, argv[4]) : write_file(&volume, argv[4]);
}
