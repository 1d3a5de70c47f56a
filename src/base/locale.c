/* A UTF-8 locale on any machine: see locale.h. */
#include "base/locale.h"

#include <errno.h>
#include <fcntl.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

extern const unsigned char locale_ctype_start[], locale_ctype_end[];

static bool write_tables(const char *path)
{
	size_t left = (size_t)(locale_ctype_end - locale_ctype_start);
	const unsigned char *data = locale_ctype_start;
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);

	if (fd < 0)
		return false;
	while (left > 0) {
		ssize_t written = write(fd, data, left);

		if (written < 0 && errno == EINTR)
			continue;
		if (written <= 0)
			break;
		data += written;
		left -= (size_t)written;
	}
	return close(fd) == 0 && left == 0;
}

/* Puts the tables into a private folder under `parent`, loads them, and removes them again. */
static bool load_below(const char *parent)
{
	char base[128], locale[160], file[192];
	bool loaded;

	if (snprintf(base, sizeof(base), "%s/coldlift-XXXXXX", parent) >= (int)sizeof(base) ||
	    mkdtemp(base) == NULL)
		return false;
	snprintf(locale, sizeof(locale), "%s/C.utf8", base);
	snprintf(file, sizeof(file), "%s/LC_CTYPE", locale);
	loaded = mkdir(locale, 0700) == 0 && write_tables(file) &&
	    setenv("LOCPATH", base, 1) == 0 && setlocale(LC_CTYPE, "C.UTF-8") != NULL;
	/* The C library has mapped or copied the file; the name is no longer needed. */
	unlink(file);
	rmdir(locale);
	rmdir(base);
	unsetenv("LOCPATH");
	return loaded;
}

bool locale_use_utf8(struct error *error)
{
	/* /dev/shm and /run are in memory on a live stick; "/" is the last resort of a chroot. */
	static const char *const parents[] = {"/tmp", "/dev/shm", "/run", "/var/tmp", "/dev", "/"};
	const char *chosen = getenv("TMPDIR");

	if (setlocale(LC_CTYPE, "C.UTF-8") != NULL)
		return true;
	if (chosen != NULL && load_below(chosen))
		return true;
	for (size_t i = 0; i < sizeof(parents) / sizeof(parents[0]); i++)
		if (load_below(parents[i]))
			return true;
	return error_set(error, STATUS_OTHER,
	    "no folder can be written to for the tables that names with accents need; set TMPDIR "
	    "to one that can");
}
