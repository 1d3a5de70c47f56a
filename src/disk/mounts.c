/* Reading mountinfo and swaps; see mounts.h. */
#include "disk/mounts.h"

#include "base/buf.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/sysmacros.h>

/* Turns \040 and its like back into the characters, in place. */
static void unescape(char *text)
{
	char *out = text;

	while (*text != '\0') {
		if (text[0] == '\\' && text[1] >= '0' && text[1] <= '3' && text[2] >= '0' &&
		    text[2] <= '7' && text[3] >= '0' && text[3] <= '7') {
			*out++ =
			    (char)((text[1] - '0') << 6 | (text[2] - '0') << 3 | (text[3] - '0'));
			text += 4;
		} else {
			*out++ = *text++;
		}
	}
	*out = '\0';
}

static bool options_have(const char *options, const char *wanted)
{
	size_t length = strlen(wanted);

	while (*options != '\0') {
		size_t part = strcspn(options, ",");

		if (part == length && memcmp(options, wanted, length) == 0)
			return true;
		options += part;
		options += *options == ',';
	}
	return false;
}

/* "36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue" */
static bool parse_mount(char *line, struct mount *mount)
{
	char *fields[6], *rest, *word, *save = NULL;
	unsigned major, minor;

	rest = strstr(line, " - ");
	if (rest == NULL)
		return false;
	*rest = '\0';
	rest += 3;
	word = strtok_r(line, " ", &save);
	for (size_t i = 0; i < 6; i++, word = strtok_r(NULL, " ", &save)) {
		if (word == NULL)
			return false;
		fields[i] = word;
	}
	if (sscanf(fields[2], "%u:%u", &major, &minor) != 2)
		return false;
	save = NULL;
	if (strtok_r(rest, " ", &save) == NULL)
		return false;
	word = strtok_r(NULL, " \n", &save);
	if (word == NULL)
		return false;
	mount->number = makedev(major, minor);
	mount->point = fields[4];
	mount->source = word;
	word = strtok_r(NULL, " \n", &save);
	mount->read_only = word != NULL && options_have(word, "ro");
	unescape(fields[4]);
	unescape((char *)mount->source);
	return true;
}

static FILE *open_under(const char *root, const char *name)
{
	char path[4096];

	if (snprintf(path, sizeof(path), "%s/proc/%s", root, name) >= (int)sizeof(path))
		return NULL;
	return fopen(path, "re");
}

bool mounts_read(struct arena *arena, const char *root, struct mount **mounts, size_t *count)
{
	FILE *file = open_under(root, "self/mountinfo");
	struct mount *list = NULL, mount;
	size_t capacity = 0, n = 0, room = 0;
	char *line = NULL;
	bool fine = true;

	while (file != NULL && fine && getline(&line, &room, file) >= 0) {
		if (!parse_mount(line, &mount))
			continue;
		fine = array_reserve(&list, &capacity, n + 1, sizeof(*list));
		mount.point = arena_strdup(arena, mount.point);
		mount.source = arena_strdup(arena, mount.source);
		fine = fine && mount.point != NULL && mount.source != NULL;
		if (fine)
			list[n++] = mount;
	}
	*mounts = arena_array(arena, n, sizeof(*list));
	if (*mounts != NULL && n > 0)
		memcpy(*mounts, list, n * sizeof(*list));
	*count = n;
	free(list);
	free(line);
	if (file != NULL)
		fclose(file);
	return fine && *mounts != NULL;
}

bool swaps_read(struct arena *arena, const char *root, const char ***paths, size_t *count)
{
	FILE *file = open_under(root, "swaps");
	const char **list = NULL, *path;
	size_t capacity = 0, n = 0, room = 0;
	char *line = NULL;
	bool fine = true;

	while (file != NULL && fine && getline(&line, &room, file) >= 0) {
		if (line[0] != '/')
			continue; /* the heading */
		line[strcspn(line, " \t\n")] = '\0';
		unescape(line);
		fine = array_reserve(&list, &capacity, n + 1, sizeof(*list));
		path = arena_strdup(arena, line);
		fine = fine && path != NULL;
		if (fine)
			list[n++] = path;
	}
	*paths = arena_array(arena, n, sizeof(*list));
	if (*paths != NULL && n > 0)
		memcpy(*paths, list, n * sizeof(*list));
	*count = n;
	free(list);
	free(line);
	if (file != NULL)
		fclose(file);
	return fine && *paths != NULL;
}
