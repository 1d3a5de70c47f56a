/* A folder that stands for the root of a computer; see fake_sysfs.h. */
#include "unit.h"

#include "fake_sysfs.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct fake_sysfs fake_sysfs_make(void)
{
	struct fake_sysfs fake = {"/tmp/coldlift-unit-root-XXXXXX"};

	assert_non_null(mkdtemp(fake.root));
	return fake;
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *walk)
{
	(void)status;
	(void)kind;
	(void)walk;
	return remove(path);
}

void fake_sysfs_drop(struct fake_sysfs *fake)
{
	nftw(fake->root, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

/* root/name, with the folders on the way. */
static void place(const struct fake_sysfs *fake, const char *name, char *path, size_t size)
{
	snprintf(path, size, "%s/%s", fake->root, name);
	for (char *slash = strchr(path + 1, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
		*slash = '\0';
		mkdir(path, 0700);
		*slash = '/';
	}
}

void fake_put(const struct fake_sysfs *fake, const char *name, const char *text)
{
	char path[600];
	FILE *file;

	place(fake, name, path, sizeof(path));
	file = fopen(path, "w");
	assert_non_null(file);
	assert_true(fputs(text, file) >= 0);
	fclose(file);
}

void fake_link(const struct fake_sysfs *fake, const char *name, const char *target)
{
	char path[600];

	place(fake, name, path, sizeof(path));
	assert_int_equal(symlink(target, path), 0);
}

void fake_remove(const struct fake_sysfs *fake, const char *name)
{
	char path[600];

	place(fake, name, path, sizeof(path));
	nftw(path, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static void put_in(
    const struct fake_sysfs *fake, const char *folder, const char *file, const char *text)
{
	char name[300];

	snprintf(name, sizeof(name), "sys/devices/x/block/%s/%s", folder, file);
	fake_put(fake, name, text);
}

void fake_block(const struct fake_sysfs *fake, const char *name, const char *number)
{
	const char *slash = strrchr(name, '/');
	const char *last = slash != NULL ? slash + 1 : name;
	char link[200], target[300];

	put_in(fake, name, "dev", number);
	put_in(fake, name, "size", "2048\n");
	snprintf(target, sizeof(target), "../../devices/x/block/%s", name);
	snprintf(link, sizeof(link), "sys/class/block/%s", last);
	fake_link(fake, link, target);
	snprintf(link, sizeof(link), "sys/dev/block/%s", number);
	fake_link(fake, link, target);
	if (slash != NULL) {
		put_in(fake, name, "partition", "1\n");
		return;
	}
	snprintf(target, sizeof(target), "../devices/x/block/%s", name);
	snprintf(link, sizeof(link), "sys/block/%s", last);
	fake_link(fake, link, target);
}
