/* A glance at a volume without a change: see target.h. */
#include "console/target.h"

#include "console/apart.h"
#include "console/target_mount.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/fs.h>
#include <sched.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/ioctl.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <unistd.h>

#define PATIENCE 60         /* seconds */
#define NAMES_LIMIT 100000u /* names that are looked at in one folder */
#define FOLDERS_LIMIT 2000u /* folders at the top that could hold a Windows */

/* Something to be done inside a volume. */
struct errand {
	const struct look_volume *volume;
	target_work *work;
	const void *about;
};

struct glance {
	const char *name;
	size_t limit;
};

/* In front of the file's bytes in the answer. */
struct glance_facts {
	bool found, old_system;
};

/* --- the folders of the volume ---------------------------------------------------------------- */

static DIR *open_folder(int parent, const char *name)
{
	int fd = openat(parent, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
	DIR *folder = fd < 0 ? NULL : fdopendir(fd);

	if (fd >= 0 && folder == NULL)
		close(fd);
	return folder;
}

/* The name as it stands in the folder, when one of these words is there in any case. */
static bool find_name(DIR *folder, const char *wanted, char *name, size_t size)
{
	struct dirent *entry;
	bool found = false;

	rewinddir(folder);
	for (unsigned i = 0; i < NAMES_LIMIT && (entry = readdir(folder)) != NULL; i++) {
		bool exact = strcmp(entry->d_name, wanted) == 0;

		if (!exact && (found || strcasecmp(entry->d_name, wanted) != 0))
			continue;
		snprintf(name, size, "%s", entry->d_name);
		found = true;
		if (exact)
			break;
	}
	return found;
}

static DIR *open_any_case(DIR *parent, const char *wanted)
{
	char name[256];

	return find_name(parent, wanted, name, sizeof(name)) ? open_folder(dirfd(parent), name)
							     : NULL;
}

/* FOLDER/System32/config with the system's hive in it: a Windows of any name. */
static bool is_windows(int top, const char *name)
{
	DIR *folder = open_folder(top, name), *system32, *config = NULL;
	char hive[256];
	bool is = false;

	if (folder == NULL)
		return false;
	system32 = open_any_case(folder, "system32");
	if (system32 != NULL)
		config = open_any_case(system32, "config");
	if (config != NULL) {
		is = find_name(config, "system", hive, sizeof(hive)) ||
		     find_name(config, "software", hive, sizeof(hive));
		closedir(config);
	}
	if (system32 != NULL)
		closedir(system32);
	closedir(folder);
	return is;
}

static bool has_windows(DIR *top)
{
	struct dirent *entry;
	unsigned folders = 0;

	rewinddir(top);
	while (folders < FOLDERS_LIMIT && (entry = readdir(top)) != NULL) {
		if (entry->d_name[0] == '.' ||
		    (entry->d_type != DT_DIR && entry->d_type != DT_UNKNOWN))
			continue;
		folders++;
		if (is_windows(dirfd(top), entry->d_name))
			return true;
	}
	return false;
}

/* --- the file --------------------------------------------------------------------------------- */

static bool read_file(int fd, size_t limit, struct buf *answer, struct error *error)
{
	char piece[4096];

	while (limit > 0) {
		ssize_t got = read(fd, piece, limit < sizeof(piece) ? limit : sizeof(piece));

		if (got < 0 && errno == EINTR)
			continue;
		if (got < 0)
			return error_set_errno(
			    error, STATUS_DESTINATION, errno, "the file could not be read");
		if (got == 0)
			break;
		buf_add(answer, piece, (size_t)got);
		limit -= (size_t)got;
	}
	return true;
}

static bool glance_at(
    const struct glance *glance, DIR *top, struct buf *answer, struct error *error)
{
	struct glance_facts facts = {.old_system = has_windows(top)};
	struct stat info;
	char name[256];
	bool good;
	int fd;

	facts.found = find_name(top, glance->name, name, sizeof(name)) &&
		      fstatat(dirfd(top), name, &info, AT_SYMLINK_NOFOLLOW) == 0 &&
		      S_ISREG(info.st_mode);
	buf_add(answer, &facts, sizeof(facts));
	if (!facts.found)
		return true;
	fd = openat(dirfd(top), name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "the file could not be opened");
	good = read_file(fd, glance->limit, answer, error);
	close(fd);
	return good;
}

/* --- in a process of its own ------------------------------------------------------------------ */

/* It is read-only already on the stick; a mistake here would be a bad one. */
static bool keep_read_only(const char *device, struct error *error)
{
	int fd = open(device, O_RDONLY | O_CLOEXEC), one = 1, state = 0;
	bool good;

	if (fd < 0)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "%s cannot be opened", device);
	good = ioctl(fd, BLKROSET, &one) == 0 && ioctl(fd, BLKROGET, &state) == 0 && state != 0;
	close(fd);
	return good || error_set(error, STATUS_DESTINATION, "%s cannot be set read-only", device);
}

static bool go_inside(const void *about, struct buf *answer, struct error *error)
{
	const struct errand *errand = about;
	const char *device = errand->volume->device;
	enum target_kind kind = target_kind(errand->volume->filesystem);
	bool good;

	/* The mount is this process's own, and gone with it. */
	if (unshare(CLONE_NEWNS) != 0 || mount("none", "/", NULL, MS_REC | MS_PRIVATE, NULL) != 0)
		return error_set_errno(error, STATUS_OTHER, errno, "no room apart");
	if (!keep_read_only(device, error) ||
	    !target_mount_to_read(kind, device, TARGET_FOLDER, error))
		return false;
	good = errand->work(errand->about, TARGET_FOLDER, answer, error);
	target_unmount(device, TARGET_FOLDER, 20);
	return good;
}

bool target_look(const struct look_volume *volume, target_work *work, const void *about,
    unsigned seconds, struct buf *answer, struct error *error)
{
	struct errand errand = {volume, work, about};

	if (!target_is_possible(volume))
		return error_set(error, STATUS_DESTINATION,
		    "%s has no file system that coldlift can write to", volume->device);
	return apart_run(go_inside, &errand, seconds, answer, NULL, error);
}

static bool peek(const void *about, const char *folder, struct buf *answer, struct error *error)
{
	DIR *top = opendir(folder);
	bool good;

	if (top == NULL)
		return error_set_errno(
		    error, STATUS_DESTINATION, errno, "the volume cannot be read");
	good = glance_at(about, top, answer, error);
	closedir(top);
	return good;
}

bool target_peek(const struct look_volume *volume, const char *name, size_t limit,
    struct target_view *view, struct error *error)
{
	struct glance glance = {name, limit};
	struct glance_facts facts;
	struct buf answer = {0};

	*view = (struct target_view){0};
	if (!target_look(volume, peek, &glance, PATIENCE, &answer, error)) {
		buf_free(&answer);
		return false;
	}
	memcpy(&facts, buf_text(&answer), sizeof(facts));
	view->found = facts.found;
	view->old_system = facts.old_system;
	buf_add(&view->text, answer.data + sizeof(facts), answer.length - sizeof(facts));
	buf_free(&answer);
	if (!view->text.failed)
		return true;
	buf_free(&view->text);
	return error_no_memory(error);
}
