/* Choices for an extraction: see plan_file.h. */
#include "cmd/plan_file.h"

#include "base/utf.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool choices_add(struct choices *choices, struct text_list *list, const char *text)
{
	const char *copy = arena_strdup(&choices->arena, text);

	if (copy == NULL ||
	    !array_reserve(&list->items, &list->capacity, list->count + 1, sizeof(*list->items)))
		return false;
	list->items[list->count++] = copy;
	return true;
}

/* Cuts white space off both ends, in place. */
static char *trim(char *line)
{
	size_t length;

	line += strspn(line, " \t");
	length = strlen(line);
	while (length > 0 && strchr(" \t\r\n", line[length - 1]) != NULL)
		line[--length] = '\0';
	return line;
}

static bool read_line(struct choices *choices, char *line, const char *path, unsigned number,
    struct error *error)
{
	size_t word;
	const char *rest;
	struct text_list *list = NULL;

	line = trim(line);
	if (line[0] == '\0' || line[0] == '#')
		return true;
	word = strcspn(line, " \t");
	rest = line + word + strspn(line + word, " \t");
	if (word == 4 && memcmp(line, "take", 4) == 0)
		list = &choices->takes;
	else if (word == 5 && memcmp(line, "leave", 5) == 0)
		list = &choices->leaves;
	else if (word == 6 && memcmp(line, "person", 6) == 0)
		list = &choices->persons;
	if (list == NULL || rest[0] == '\0')
		return error_set(error, STATUS_USAGE,
		    "line %u of the plan file '%s' is not 'take PATTERN', 'leave PATTERN' or "
		    "'person NAME'", number, path);
	if (!utf_is_clean(rest))
		return error_set(error, STATUS_USAGE,
		    "line %u of the plan file '%s' is not text in UTF-8", number, path);
	return choices_add(choices, list, rest) || error_no_memory(error);
}

bool choices_read_file(struct choices *choices, const char *path, struct error *error)
{
	FILE *file = fopen(path, "re");
	char *line = NULL;
	size_t size = 0;
	unsigned number = 0;
	bool good = true;

	if (file == NULL)
		return error_set_errno(
		    error, STATUS_USAGE, errno, "the plan file '%s' cannot be read", path);
	while (good && getline(&line, &size, file) >= 0) {
		number++;
		/* Editors of the old system like to put a byte order mark in front. */
		if (number == 1 && strncmp(line, "\xEF\xBB\xBF", 3) == 0)
			memmove(line, line + 3, strlen(line + 3) + 1);
		good = read_line(choices, line, path, number, error);
	}
	if (good && ferror(file))
		good = error_set_errno(error, STATUS_USAGE, errno,
		    "the plan file '%s' cannot be read", path);
	free(line);
	fclose(file);
	return good;
}

struct plan_options choices_to_options(const struct choices *choices)
{
	return (struct plan_options){
	    .persons = choices->persons.items, .n_persons = choices->persons.count,
	    .takes = choices->takes.items, .n_takes = choices->takes.count,
	    .leaves = choices->leaves.items, .n_leaves = choices->leaves.count,
	};
}

void choices_free(struct choices *choices)
{
	free(choices->persons.items);
	free(choices->takes.items);
	free(choices->leaves.items);
	arena_free(&choices->arena);
}
