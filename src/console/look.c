/* What the live stick can see: see look.h. Running the commands; look_read.c reads what they say.
 */
#include "console/look.h"

#include "console/program.h"

#include <stdlib.h>
#include <string.h>

/* The survey of a PC with thousands of programs and findings takes some megabytes. */
#define MOST_BYTES ((size_t)96 << 20)

void look_init(struct look *look)
{
	*look = (struct look){0};
	findings_init(&look->general);
	findings_init(&look->findings);
}

void look_free(struct look *look)
{
	for (size_t i = 0; i < look->n_drives; i++)
		findings_free(&look->drives[i].findings);
	findings_free(&look->general);
	findings_free(&look->findings);
	arena_free(&look->arena);
	*look = (struct look){0};
}

/* Runs the command and reads its JSON with `read`. No volume at all is no failure. */
static bool ask(struct look *look, const char *const *arguments,
    bool (*read)(struct look *, const char *, size_t, struct error *), struct error *error)
{
	struct program_end end;
	struct buf out = {0};
	bool good = program_capture(arguments, MOST_BYTES, &out, &end, error);

	if (good && out.length == 0 && end.status == STATUS_NO_VOLUME)
		buf_add_text(&out, "{}");
	if (good && out.length == 0)
		good = error_set(error, STATUS_OTHER, "nothing came of it");
	good = good && read(look, buf_text(&out), out.length, error);
	buf_free(&out);
	return good;
}

bool look_at_drives(struct look *look, struct error *error)
{
	static const char *const arguments[] = {"coldlift", "drives", "--json", "--quiet", NULL};

	return ask(look, arguments, look_read_drives, error);
}

bool look_at_systems(
    struct look *look, const char *const *ruled_out, size_t n_ruled_out, struct error *error)
{
	const char **arguments = calloc(2 * (look->n_drives + n_ruled_out) + 5, sizeof(*arguments));
	size_t count = 0, n_readable = 0;
	bool good;

	if (arguments == NULL)
		return error_no_memory(error);
	arguments[count++] = "coldlift";
	arguments[count++] = "survey";
	arguments[count++] = "--json";
	arguments[count++] = "--no-text";
	/* A drive that could not be read a moment ago would only be waited for again. */
	for (size_t i = 0; i < look->n_drives; i++) {
		if (look->drives[i].stick)
			continue;
		if (look->drives[i].readable) {
			n_readable++;
			continue;
		}
		arguments[count++] = "--not";
		arguments[count++] = look->drives[i].path;
	}
	for (size_t i = 0; i < n_ruled_out; i++) {
		arguments[count++] = "--not";
		arguments[count++] = ruled_out[i];
	}
	good = n_readable > n_ruled_out ? ask(look, arguments, look_read_survey, error)
					: look_read_survey(look, "{}", 2, error);
	free(arguments);
	return good;
}

const char *look_short_name(const char *path)
{
	return strncmp(path, "/dev/", 5) == 0 ? path + 5 : path;
}

void look_describe(const struct look_drive *drive, struct buf *out)
{
	if (*drive->model != '\0')
		buf_printf(out, ", %s", drive->model);
	if (*drive->serial != '\0')
		buf_printf(out, ", serial number %s", drive->serial);
	if (*drive->bus != '\0')
		buf_printf(out, ", %s", drive->bus);
}

void look_health(const struct look_drive *drive, struct buf *out)
{
	buf_printf(out, "%s%s",
	    strcmp(drive->verdict, "unknown") == 0 ? "Whether it has faults is not known. " : "",
	    drive->faults);
}

bool look_is_failing(const struct look_drive *drive)
{
	return strcmp(drive->verdict, "failing") == 0 ||
	       findings_have(&drive->findings, "drive-lost") ||
	       findings_have(&drive->findings, "read-errors");
}

bool look_is_encrypted(const struct look_volume *volume)
{
	return strcmp(volume->filesystem, "encrypted") == 0;
}

bool look_is_locked(const struct look_drive *drive)
{
	if (strcmp(drive->verdict, "locked") == 0)
		return true;
	for (size_t i = 0; i < drive->n_volumes; i++)
		if (look_is_encrypted(&drive->volumes[i]))
			return true;
	return false;
}

uint64_t look_bytes(const struct look *look)
{
	uint64_t sum = look->other_bytes;

	for (size_t i = 0; i < look->n_systems; i++) {
		const struct look_system *system = &look->systems[i];

		sum += system->shared_bytes;
		for (size_t p = 0; p < system->n_persons; p++)
			sum += system->persons[p].bytes;
	}
	return sum;
}
