/*
 * A job that lies at several destinations: which folder is which, and which parts lie where. See
 * verify_internal.h.
 *
 * The job's papers are in the folder where it ended, perhaps with copies in the others. Every other
 * folder has a note with a mark, and destinations.json lists these marks with the parts: so folders
 * of different jobs are told apart whatever they are called.
 */
#include "extract/verify_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define NOTE "goes-on-elsewhere.txt"
#define NOTE_LINE "\nFor coldlift: "
#define NOTE_LIMIT 8192
#define LIST "destinations.json"
#define MOST_PLACES 1000

static bool has_file(const struct verify_place *place, const char *name)
{
	return faccessat(place->fd, name, F_OK, AT_SYMLINK_NOFOLLOW) == 0;
}

/* The mark of a folder that the job has left; "" when the note makes no sense. */
static bool read_note(struct verify *verify, struct verify_place *place, struct error *error)
{
	char text[NOTE_LIMIT + 1], why[240], *line;
	const char *mark = NULL;
	size_t got = 0;
	json_t *json;
	int fd = openat(place->fd, NOTE, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);

	place->mark = "";
	if (fd < 0)
		return true;
	if (!job_read(fd, NOTE, text, NOTE_LIMIT, &got, error)) {
		close(fd);
		return false;
	}
	close(fd);
	text[got] = '\0';
	line = strstr(text, NOTE_LINE);
	if (line != NULL) {
		line += strlen(NOTE_LINE);
		json = json_from_text(line, strcspn(line, "\n"), why, sizeof(why));
		mark = json_string_value(json_object_get(json, "mark"));
		place->mark = arena_strdup(&verify->result->arena, mark == NULL ? "" : mark);
		json_decref(json);
	}
	return place->mark != NULL || error_no_memory(error);
}

static bool open_place(struct verify *verify, struct verify_place *place, struct error *error)
{
	static const char *const marks[] = {"record.jsonl", "bagit.txt", "manifest-sha256.txt",
	    "journal", NOTE};

	place->fd = open(place->path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (place->fd < 0)
		return error_set_errno(error, STATUS_DESTINATION, errno,
		    "the job '%s' cannot be read", place->path);
	place->is_left = has_file(place, NOTE);
	for (size_t i = 0; i < sizeof(marks) / sizeof(marks[0]); i++)
		if (has_file(place, marks[i]))
			return read_note(verify, place, error);
	return error_set(error, STATUS_OTHER,
	    "'%s' is not the folder of a job: it has neither record nor proof", place->path);
}

/* The folder with the papers: where the job ended, or else one with copies. */
static bool choose_main(struct verify *verify, struct error *error)
{
	verify->main = SIZE_MAX;
	for (size_t i = 0; i < verify->n_places; i++) {
		if (verify->places[i].is_left)
			continue;
		if (verify->main != SIZE_MAX)
			return error_set(error, STATUS_USAGE,
			    "'%.200s' and '%.200s' are two jobs; give the folders of one",
			    verify->places[verify->main].path, verify->places[i].path);
		verify->main = i;
	}
	for (size_t i = 0; i < verify->n_places && verify->main == SIZE_MAX; i++)
		if (has_file(&verify->places[i], "record.jsonl") &&
		    has_file(&verify->places[i], LIST))
			verify->main = i;
	if (verify->main == SIZE_MAX)
		return error_set(error, STATUS_OTHER,
		    "'%s' is only a piece of a job, which went on at another destination; give the "
		    "folder there, too",
		    verify->places[0].path);
	verify->folder = verify->places[verify->main].fd;
	return true;
}

bool verify_open(struct verify *verify, const char *const *folders, size_t count,
    struct error *error)
{
	if (count > MOST_PLACES)
		return error_set(error, STATUS_USAGE, "that are too many folders");
	verify->places = calloc(count + 1, sizeof(*verify->places));
	if (verify->places == NULL)
		return error_no_memory(error);
	for (size_t i = 0; i < count; i++) {
		verify->places[i] = (struct verify_place){.path = folders[i], .fd = -1};
		verify->n_places++;
		if (!open_place(verify, &verify->places[i], error))
			return false;
	}
	return choose_main(verify, error);
}

void verify_close(struct verify *verify)
{
	for (size_t i = 0; i < verify->n_places; i++)
		if (verify->places[i].fd >= 0)
			close(verify->places[i].fd);
	free(verify->places);
}

/* The folder at hand that is this destination; n_places: it is not here. */
static size_t find_place(const struct verify *verify, const char *mark)
{
	size_t i = 0;

	while (i < verify->n_places &&
	    (mark == NULL ? verify->places[i].is_left :
			    !verify->places[i].is_left ||
			    strcmp(verify->places[i].mark, mark) != 0))
		i++;
	return i;
}

static bool take_name(struct verify *verify, const char *name, unsigned number, size_t at,
    struct error *error)
{
	struct part *part;

	if (name == NULL || !name_is_plain(name))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, LIST,
		    "It names a part that cannot lie in the job's folder.");
	part = part_put(verify, name, error);
	if (part == NULL)
		return false;
	if (part->destination != 0)
		return differ(verify, error, DIFFERS_PROOF, name, LIST " lists it twice.");
	part->destination = number;
	part->is_elsewhere = at == verify->n_places;
	part->folder = part->is_elsewhere ? -1 : verify->places[at].fd;
	part->is_folder = name_is_of_files(verify, name);
	verify->n_elsewhere += part->is_elsewhere;
	verify->has_folders = verify->has_folders || part->is_folder;
	return true;
}

static bool take_destination(struct verify *verify, const json_t *json, unsigned number,
    bool is_last, struct error *error)
{
	const char *mark = json_string_value(json_object_get(json, "mark"));
	const json_t *parts = json_object_get(json, "parts"), *name;
	size_t at, i;
	bool good = true;

	if ((mark == NULL) != is_last || !json_is_array(parts))
		return differ(verify, error, DIFFERS_FORM, LIST,
		    "Its destination %u has no parts, or not the mark that it should have.",
		    number);
	at = find_place(verify, mark);
	if (at < verify->n_places)
		verify->places[at].number = number;
	json_array_foreach(parts, i, name) good =
	    good && take_name(verify, json_string_value(name), number, at, error);
	return good;
}

static bool check_strangers(const struct verify *verify, struct error *error)
{
	for (size_t i = 0; i < verify->n_places; i++)
		if (verify->places[i].number == 0)
			return error_set(error, STATUS_USAGE,
			    "'%.200s' is no folder of the job in '%.200s'", verify->places[i].path,
			    verify->places[verify->main].path);
	return true;
}

bool verify_places(struct verify *verify, struct error *error)
{
	const struct verify_place *main = &verify->places[verify->main];
	const json_t *list, *destination;
	json_t *json;
	bool good = true;
	size_t i;

	if (!has_file(main, LIST)) {
		/* While it is not finished there is no list. */
		if (!has_file(main, "journal"))
			verify->places[verify->main].number = 1;
		return has_file(main, "journal") || check_strangers(verify, error);
	}
	if (!json_from_file(verify, LIST, &json, error))
		return false;
	list = json_object_get(json, "destinations");
	if (json != NULL && (json_array_size(list) < 2 || json_array_size(list) > MOST_PLACES)) {
		good = differ(verify, error, DIFFERS_FORM, LIST, "It lists no destinations.");
	} else if (json != NULL) {
		verify->n_destinations = (unsigned)json_array_size(list);
		json_array_foreach(list, i, destination) good = good &&
		    take_destination(verify, destination, (unsigned)i + 1,
			i + 1 == json_array_size(list), error);
		good = good && check_strangers(verify, error);
	}
	json_decref(json);
	return good;
}
