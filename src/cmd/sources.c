/* Which drives a command works on; see sources.h. */
#include "cmd/sources.h"

#include "disk/sysfs.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define STICK_FOLDER "run/coldlift"
#define STICK_TEXT_MAX 1024

/* The whole drive that has this name in sysfs, or that a volume of this name is on; 0: none. */
static dev_t drive_of_name(const char *root, const char *name)
{
	struct sysfs_path all, folder;
	char plain[256];

	snprintf(plain, sizeof(plain), "%s", name);
	/* sysfs writes '!' where the name has a '/'; nothing here may climb out of the folder. */
	for (char *c = plain; *c != '\0'; c++)
		if (*c == '/')
			*c = '!';
	if (plain[0] == '\0' || plain[0] == '.' || !sysfs_join(&all, root, "sys/class/block") ||
	    !sysfs_join(&folder, all.text, plain))
		return 0;
	return block_whole(root, sysfs_device_number(folder.text));
}

/* --- the stick -------------------------------------------------------------------------------- */

void stick_find(const char *root, struct stick *stick)
{
	struct sysfs_path folder, file;
	char text[STICK_TEXT_MAX + 1], *rest = text, *name;
	ssize_t got;

	*stick = (struct stick){0};
	if (!sysfs_join(&folder, root, STICK_FOLDER) || !sysfs_join(&file, folder.text, "stick") ||
	    access(file.text, F_OK) != 0)
		return;
	stick->here = true;
	got = sysfs_bytes(folder.text, "stick", text, STICK_TEXT_MAX);
	text[got > 0 ? got : 0] = '\0';
	while ((name = strsep(&rest, " \t\n")) != NULL) {
		dev_t number = drive_of_name(root, name);

		if (number != 0 && stick->count < STICK_NUMBERS)
			stick->numbers[stick->count++] = number;
	}
}

bool stick_has(const struct stick *stick, const struct drive *drive)
{
	for (size_t i = 0; i < stick->count; i++)
		if (stick->numbers[i] == drive->number)
			return true;
	return false;
}

/* --- every drive but ... ---------------------------------------------------------------------- */

/* The drives that --not names; NULL with *error. */
static const dev_t *rule_out(
    struct arena *arena, const char *root, const struct source_wish *wish, struct error *error)
{
	dev_t *numbers = arena_array(arena, wish->n_ruled_out + 1, sizeof(*numbers));

	if (numbers == NULL) {
		error_no_memory(error);
		return NULL;
	}
	for (size_t i = 0; i < wish->n_ruled_out; i++) {
		const char *path = wish->ruled_out[i];
		struct stat status;

		numbers[i] = drive_of_name(root, strncmp(path, "/dev/", 5) == 0 ? path + 5 : path);
		/* Another name of it, such as a link. */
		if (numbers[i] == 0 && stat(path, &status) == 0 && S_ISBLK(status.st_mode))
			numbers[i] = block_whole(root, status.st_rdev);
		if (numbers[i] == 0) {
			error_set(error, STATUS_USAGE,
			    "--not names no drive of this computer: '%s'", path);
			return NULL;
		}
	}
	return numbers;
}

static bool has_number(const dev_t *numbers, size_t count, dev_t number)
{
	for (size_t i = 0; i < count; i++)
		if (numbers[i] == number)
			return true;
	return false;
}

static bool choose(struct arena *arena, const char *root, const struct stick *stick,
    const struct source_wish *wish, struct sources *sources, struct error *error)
{
	const dev_t *ruled_out = rule_out(arena, root, wish, error);
	struct drive *drives;
	const char **paths;
	size_t count;

	if (ruled_out == NULL || !drives_list(arena, root, &drives, &count, error))
		return false;
	paths = arena_array(arena, count + 1, sizeof(*paths));
	if (paths == NULL)
		return error_no_memory(error);
	for (size_t i = 0; i < count; i++) {
		const struct drive *drive = &drives[i];

		if (stick_has(stick, drive) ||
		    has_number(ruled_out, wish->n_ruled_out, drive->number) ||
		    (wish->to != NULL && drive_holds_folder(root, drive->number, wish->to)) ||
		    (wish->then != NULL &&
			drive_holds_folder(root, drive->number, wish->then)))
			continue;
		paths[sources->count++] = drive->path;
	}
	sources->paths = paths;
	sources->chosen = true;
	return sources->count > 0 ||
	       error_set(error, STATUS_NO_VOLUME,
		   "there is no drive to read: this computer shows none besides the stick and what "
		   "was left out");
}

bool sources_find(struct arena *arena, const char *root, const char *command,
    const struct source_wish *wish, struct sources *sources, struct error *error)
{
	struct stick stick;

	*sources = (struct sources){.paths = wish->named, .count = wish->n_named};
	if (wish->n_named > 0)
		return wish->n_ruled_out == 0 ||
		       error_set(error, STATUS_USAGE,
			   "--not goes only without a SOURCE, where every other drive is read");
	stick_find(root, &stick);
	if (!stick.here)
		return error_set(error, STATUS_USAGE,
		    "%s needs at least one SOURCE, a drive or an image file", command);
	return choose(arena, root, &stick, wish, sources, error);
}
