/* The note that a job has gone on elsewhere: see handover.h. */
#include "extract/handover.h"

#include "base/json.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/stat.h>
#include <unistd.h>

#define NOTE_LIMIT 8192 /* bytes: a longer one is none of ours */

static char *note_path(const char *folder)
{
	char *path;

	return asprintf(&path, "%s/" HANDOVER_NOTE, folder) < 0 ? NULL : path;
}

bool handover_mark(struct handover *handover, struct error *error)
{
	static const char digits[] = "0123456789abcdef";
	uint8_t bytes[HANDOVER_MARK / 2];

	if (getrandom(bytes, sizeof(bytes), 0) != (ssize_t)sizeof(bytes))
		return error_set_errno(
		    error, STATUS_OTHER, errno, "the system gives no random numbers");
	for (size_t i = 0; i < sizeof(bytes); i++) {
		handover->mark[2 * i] = digits[bytes[i] >> 4];
		handover->mark[2 * i + 1] = digits[bytes[i] & 15];
	}
	handover->mark[HANDOVER_MARK] = '\0';
	return true;
}

struct ordinal handover_ordinal(unsigned number)
{
	static const char *const words[] = {"first", "second", "third", "fourth", "fifth"};
	struct ordinal ordinal;

	if (number >= 1 && number <= sizeof(words) / sizeof(words[0]))
		snprintf(ordinal.text, sizeof(ordinal.text), "%s", words[number - 1]);
	else
		snprintf(ordinal.text, sizeof(ordinal.text), "%u.", number);
	return ordinal;
}

bool handover_write(const struct handover *handover, const char *folder, struct error *error)
{
	struct buf text = {0}, line = {0};
	struct json json;
	char *path = note_path(folder);
	bool good;

	json_start(&json, &line, false);
	json_begin_object(&json);
	json_key_text(&json, "job", handover->job);
	json_key_unsigned(&json, "destination", handover->number);
	json_key_text(&json, "mark", handover->mark);
	json_end(&json);
	buf_printf(&text,
	    "This folder is not a whole job.\n"
	    "\n"
	    "It is the %s destination of the job '%s', which went on at another\n"
	    "one: a folder of the same name on another drive. Keep both. Together they are\n"
	    "proven by\n"
	    "    coldlift verify FOLDER FOLDER\n"
	    "and if the job was cut off again, it goes on where it went to:\n"
	    "    coldlift extract --resume --to THE-OTHER-DRIVE SOURCE...\n"
	    "\n"
	    "For coldlift: %s\n",
	    handover_ordinal(handover->number).text, handover->job, buf_text(&line));
	good = path != NULL && !line.failed ? durable_save(path, &text, NULL, error) :
					      error_no_memory(error);
	buf_free(&line);
	buf_free(&text);
	free(path);
	return good;
}

bool handover_is_in(const char *folder)
{
	char *path = note_path(folder);
	struct stat info;
	bool there = path != NULL && lstat(path, &info) == 0;

	free(path);
	return there;
}

static bool parse(struct handover *handover, const char *text)
{
	const char *line = strstr(text, "\nFor coldlift: ");
	json_t *object = line == NULL ? NULL :
	    json_loads(strchr(line, ':') + 1, JSON_REJECT_DUPLICATES | JSON_DISABLE_EOF_CHECK, NULL);
	const char *job = json_string_value(json_object_get(object, "job"));
	const char *mark = json_string_value(json_object_get(object, "mark"));
	json_int_t number = json_integer_value(json_object_get(object, "destination"));
	bool good = job != NULL && mark != NULL && strlen(job) <= JOB_NAME_LIMIT &&
	    strlen(mark) == HANDOVER_MARK && number > 0 && number <= INT16_MAX;

	if (good) {
		*handover = (struct handover){.number = (unsigned)number};
		strcpy(handover->job, job);
		strcpy(handover->mark, mark);
	}
	json_decref(object);
	return good;
}

bool handover_read(struct handover *handover, const char *folder)
{
	char text[NOTE_LIMIT + 1], *path = note_path(folder);
	ssize_t got = -1;
	int fd = path == NULL ? -1 : open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);

	free(path);
	if (fd < 0)
		return false;
	do
		got = read(fd, text, NOTE_LIMIT);
	while (got < 0 && errno == EINTR);
	close(fd);
	if (got < 0)
		return false;
	text[got] = '\0';
	return parse(handover, text);
}

bool handover_matches(const char *folder, const char *mark)
{
	struct handover handover;

	return handover_read(&handover, folder) && strcmp(handover.mark, mark) == 0;
}
