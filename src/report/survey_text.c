/* The survey as text for people, for a terminal of 80 columns. */
#include "report/survey_text.h"
#include "report/devices_text.h"

#include "base/filetime.h"
#include "base/text.h"
#include "base/utf.h"
#include "system/bulk_data.h"
#include "report/accounts_text.h"
#include "system/recycle_bin.h"

#include <stdarg.h>
#include <string.h>

#define WIDTH 79
#define NAME_WIDTH 14 /* of a place */
#define PROGRAMS_SHOWN 20
#define LETTERS_SHOWN 26

/* A line (or more, wrapped) whose first line starts at `indent` and the others at `hang`. */
static void line(FILE *out, unsigned indent, unsigned hang, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void line(FILE *out, unsigned indent, unsigned hang, const char *format, ...)
{
	va_list arguments;

	va_start(arguments, format);
	text_paragraph(out, indent, hang, WIDTH, format, arguments);
	va_end(arguments);
}

/* "name:" padded to a column, then the text. */
static void field(FILE *out, const char *name, const char *text)
{
	if (!text || !*text)
		return;
	fprintf(out, "  %-14s ", name);
	text_wrap(out, text, 17, WIDTH);
}

/* "1 file, 20 bytes" */
static void add_sum(struct buf *text, uint64_t files, uint64_t bytes)
{
	buf_printf(text, "%s %s, %s", text_count(files).text, files == 1 ? "file" : "files",
	    text_size(bytes).text);
}

/* --- drives --- */

static void print_volume(const struct survey *survey, const struct survey_volume *volume, FILE *out)
{
	const struct survey_drive *drive = &survey->drives[volume->drive];
	const char *kind = partition_type_name(&drive->table, volume->partition);
	const char *label = volume->volume ? volume->volume->label : "";
	const char *filesystem = volume->filesystem == FILESYSTEM_NONE
				     ? "no file system"
				     : filesystem_name(volume->filesystem);

	if (!volume->is_system_partition)
		kind = NULL;
	else if (!kind)
		kind = "start files of the old system";
	line(out, 2, 6, "%s  %s, %s%s%s%s%s%s", volume->name,
	    text_size(volume->partition->length).text, filesystem, *label ? ", called " : "", label,
	    kind ? ", " : "", kind ? kind : "",
	    volume->filesystem == FILESYSTEM_NTFS && !volume->volume ? ", not readable" : "");
}

static void print_drives(const struct survey *survey, FILE *out)
{
	for (size_t d = 0; d < survey->n_drives; d++) {
		const struct drive *about = &survey->drives[d].about;

		line(out, 0, 2, "Drive %s: %s, %s%s%s%s%s", about->path,
		    text_size(about->size).text, about->bus, *about->model ? ", " : "",
		    about->model, *about->serial ? ", serial " : "", about->serial);
		for (size_t v = 0; v < survey->n_volumes; v++)
			if (survey->volumes[v].drive == d)
				print_volume(survey, &survey->volumes[v], out);
	}
}

/* --- persons and places --- */

static const char *status_words(const struct place *place)
{
	switch (place->status) {
	case PLACE_HERE:
		return "where it usually is";
	case PLACE_REDIRECTED:
		return "moved to";
	case PLACE_OTHER_VOLUME:
		return "moved to another drive:";
	case PLACE_DRIVE_MISSING:
		return "on a drive that is not attached:";
	case PLACE_SHARE:
		return "on a network share:";
	case PLACE_MISSING:
		break;
	}
	return "not there:";
}

static void print_place(const struct survey *survey, const struct place *place, FILE *out)
{
	struct sum sum = survey_sum(survey, place->at), left = survey_sum(survey, place->leftover);
	struct buf text = {0};

	buf_add_text(&text, status_words(place));
	if (place->status != PLACE_HERE)
		buf_printf(&text, " %s", place->path);
	if (place->in_cloud_folder)
		buf_add_text(&text, ", in a cloud-sync folder");
	if (place->at.node != NONE) {
		buf_add_text(&text, ", ");
		add_sum(&text, sum.files, sum.bytes);
	}
	if (sum.cloud_files) {
		buf_add_text(&text, " (wholly or partly only in the cloud: ");
		add_sum(&text, sum.cloud_files, sum.cloud_bytes);
		buf_add_byte(&text, ')');
	}
	if (left.files) {
		buf_add_text(&text, "; left in the usual folder: ");
		add_sum(&text, left.files, left.bytes);
	}
	if (place->offline.node != NONE)
		buf_add_text(&text, "; offline copies are on this drive");
	if (strlen(place->folder) <= NAME_WIDTH) {
		fprintf(out, "    %-*s ", NAME_WIDTH, place->folder);
		text_wrap(out, buf_text(&text), 19, WIDTH);
	} else {
		line(out, 4, 19, "%s %s", place->folder, buf_text(&text));
	}
	buf_free(&text);
}

/* Where it always was, and nothing in it. */
static bool is_empty(const struct survey *survey, const struct place *place)
{
	return place->status == PLACE_HERE && !place->in_cloud_folder &&
	       survey_sum(survey, place->at).files == 0;
}

/* Not where it usually is, and nowhere else: many such folders never existed. */
static bool never_was(const struct place *place, const char *profile)
{
	return place->at.node == NONE &&
	       (strcmp(place->from, "default") == 0 ||
		   (place->status == PLACE_MISSING && utf_starts_fold(place->path, profile)));
}

static void add_name(struct buf *names, const char *name)
{
	buf_printf(names, "%s%s", names->length ? ", " : "", name);
}

/* A line of several places, if there are any. Frees the names. */
static void print_names(FILE *out, const char *what, struct buf *names)
{
	if (names->length) {
		fprintf(out, "    %-*s ", NAME_WIDTH, what);
		text_wrap(out, buf_text(names), 19, WIDTH);
	}
	buf_free(names);
}

static void print_places(const struct survey *survey, const struct place *places, size_t n_places,
    const char *profile, FILE *out)
{
	struct buf missing = {0}, empty = {0};

	for (size_t i = 0; i < n_places; i++) {
		if (never_was(&places[i], profile)) {
			if (strcmp(places[i].from, "default") != 0)
				add_name(&missing, places[i].folder);
		} else if (is_empty(survey, &places[i])) {
			add_name(&empty, places[i].folder);
		} else {
			print_place(survey, &places[i], out);
		}
	}
	print_names(out, "empty:", &empty);
	print_names(out, "not there:", &missing);
}

/* Where the profile really lies, when that is not where the old system says: behind a junction. */
static void add_real_folder(
    struct buf *text, const struct survey *survey, const struct person *person)
{
	const struct survey_volume *volume = &survey->volumes[person->profile.volume];
	struct buf path = {0};

	catalogue_node_path(volume->volume->catalogue, person->profile.node, &path);
	if (!volume->letter) {
		buf_printf(text, "which lies in %s on %s, ", buf_text(&path), volume->name);
	} else if (person->path[0] != volume->letter || person->path[1] != ':' ||
		   !utf_equal_fold(person->path + 2, buf_text(&path))) {
		buf_printf(text, "which lies on %c:%s, ", volume->letter, buf_text(&path));
	}
	buf_free(&path);
}

/* What is still in recycle bins of one person (SIZE_MAX both: of nobody who is known). */
static void print_deleted(const struct survey *survey, size_t system, size_t person, FILE *out)
{
	struct deleted_sum sum = recycle_bin_sum(survey, system, person);
	struct filetime_text day = filetime_to_text(sum.last);
	struct buf text = {0};

	if (sum.things == 0)
		return;
	buf_printf(&text, "%s %s deleted, %s", text_count(sum.things).text,
	    sum.things == 1 ? "thing" : "things", text_size(sum.bytes).text);
	if (*day.text)
		buf_printf(&text, ", the last on %.10s", day.text);
	if (sum.recent > 0)
		buf_printf(&text, "; %s within %d days before the PC was last used",
		    sum.recent < sum.things ? text_count(sum.recent).text
		    : sum.things == 1	    ? "that is"
					    : "all of them",
		    RECYCLE_RECENT_DAYS);
	fprintf(out, "    %-*s ", NAME_WIDTH, "Recycle bin");
	text_wrap(out, buf_text(&text), 19, WIDTH);
	buf_free(&text);
}

static void print_person(const struct survey *survey, const struct person *person, FILE *out)
{
	struct sum sum = survey_sum(survey, person->profile);
	struct buf text = {0};

	buf_add_text(&text, *person->account ? person->account : person->folder);
	if (*person->full_name)
		buf_printf(&text, " (%s)", person->full_name);
	if (*person->domain)
		buf_printf(&text, " of %s", person->domain);
	buf_printf(&text, ": %s, ", person->path);
	if (person->profile.node == NONE) {
		buf_add_text(&text, "which is not there");
	} else {
		add_real_folder(&text, survey, person);
		add_sum(&text, sum.files, sum.bytes);
	}
	if (person->is_temporary)
		buf_add_text(&text, ", a temporary profile");
	if (person->is_backup_twin)
		buf_add_text(&text, ", a profile set aside");
	if (person->is_unlisted)
		buf_add_text(&text, ", a folder without an account");
	line(out, 2, 6, "%s", buf_text(&text));
	buf_free(&text);
	print_places(survey, person->settings, person->n_settings, person->path, out);
	print_places(survey, person->places, person->n_places, person->path, out);
}

static void print_persons(const struct survey *survey, const struct old_system *system, FILE *out)
{
	size_t n_services = 0;

	fputs("\nPersons\n", out);
	for (size_t i = 0; i < system->n_persons; i++) {
		if (system->persons[i].is_service) {
			n_services++;
			continue;
		}
		print_person(survey, &system->persons[i], out);
		print_deleted(survey, (size_t)(system - survey->systems), i, out);
	}
	if (system->n_persons == n_services)
		fputs("  none\n", out);
	if (n_services)
		line(out, 2, 2, "and %zu service %s of the old system, whose files are nobody's.",
		    n_services, n_services == 1 ? "account" : "accounts");
	if (system->public_profile.node != NONE) {
		fputs("  shared by all:\n", out);
		print_places(survey, system->shared, system->n_shared, "", out);
	}
}

/* --- letters, programs --- */

static void print_letters(const struct survey *survey, const struct old_system *system, FILE *out)
{
	fputs("\nDrive letters\n", out);
	for (size_t i = 0; i < system->n_letters && i < LETTERS_SHOWN; i++) {
		const struct letter *letter = &system->letters[i];
		const char *sure = letter->confidence == CONFIDENCE_CERTAIN  ? ""
				   : letter->confidence == CONFIDENCE_LIKELY ? ", most likely"
									     : ", not certain";
		const struct survey_volume *volume;
		const struct survey_drive *drive;

		if (letter->volume == SIZE_MAX) {
			line(out, 2, 6, "%c: not attached (%s)", letter->letter, letter->what);
			continue;
		}
		volume = &survey->volumes[letter->volume];
		drive = &survey->drives[volume->drive];
		if (drive->table.kind == TABLE_NONE)
			line(out, 2, 6, "%c: %s%s", letter->letter, drive->about.path, sure);
		else
			line(out, 2, 6, "%c: partition %u of %s%s", letter->letter,
			    volume->partition->number, drive->about.path, sure);
	}
}

/* ", used, last seen 2023-10-28, 41 starts counted" */
static void add_use(struct buf *text, const struct program *program)
{
	struct filetime_text day = filetime_to_text(program->last_seen);

	if (program->last_seen > 0 && *day.text)
		buf_printf(text, ", used, last seen %.10s", day.text);
	if (program->last_seen > 0 && program->starts > 0)
		buf_printf(text, ", %s %s counted", text_count(program->starts).text,
		    program->starts == 1 ? "start" : "starts");
	if (program->uses[TRACE_DOCUMENTS].count > 0)
		buf_printf(text, ", opens %s recent %s",
		    text_count(program->uses[TRACE_DOCUMENTS].count).text,
		    program->uses[TRACE_DOCUMENTS].count == 1 ? "document" : "documents");
	if (program->last_seen == 0 && program->shortcuts & SHORTCUT_PINNED)
		buf_add_text(text, ", pinned");
	else if (program->last_seen == 0 && program->shortcuts & SHORTCUT_DESKTOP)
		buf_add_text(text, ", with a shortcut on a desktop");
	if (program->origin == PROGRAM_PORTABLE)
		buf_printf(text, ", never installed, in %s", program->place);
	else if (program->origin == PROGRAM_STORE_APP)
		buf_add_text(text, ", from the store");
	if (program->installer)
		buf_printf(text, "; its installer is %s", program->installer);
}

/* The first file, else the first value. */
static void add_licence(
    struct buf *text, const struct old_system *system, const struct program *program)
{
	const struct program_licence *found = NULL;

	for (size_t i = 0; i < system->n_licences; i++)
		if (system->licences[i].program == (size_t)(program - system->programs) &&
		    (!found || (found->is_value && !system->licences[i].is_value)))
			found = &system->licences[i];
	if (found)
		buf_printf(text, "; %s %s",
		    found->is_value ? "its serial number is in the registry, at"
				    : "its licence is most likely",
		    found->where);
}

static void print_program(const struct survey *survey, const struct old_system *system,
    const struct program *program, FILE *out)
{
	const struct bulk *bulk = program_bulk(survey, system, program);
	struct buf text = {0};

	buf_printf(&text, "%s%s%s%s%s", program->name, *program->version ? " " : "",
	    program->version, *program->publisher ? ", " : "", program->publisher);
	if (program->person < system->n_persons)
		buf_printf(&text, " (only %s)", system->persons[program->person].key);
	add_use(&text, program);
	if (bulk)
		buf_printf(&text, "; %s on the drive, taken with --take \"%s\\**\"",
		    text_size(bulk->bytes).text, bulk->path);
	add_licence(&text, system, program);
	line(out, 4, 8, "%s", buf_text(&text));
	buf_free(&text);
}

static void print_programs(
    const struct survey *survey, const struct old_system *system, FILE *out)
{
	static const struct {
		enum program_kind kind;
		const char *title;
	} groups[] = {{PROGRAM_USED, "used"},
	    {PROGRAM_NO_TRACE, "no trace of recent use (which is no proof that it was not used)"},
	    {PROGRAM_DEVICE, "drivers and programs of devices"},
	    {PROGRAM_CAME_WITH, "came with the machine, no trace of recent use"},
	    {PROGRAM_UNSORTED, "recorded"}};
	size_t n_programs = 0, n_parts = 0;

	fputs("\nPrograms\n", out);
	for (size_t g = 0; g < sizeof(groups) / sizeof(groups[0]); g++) {
		size_t n_shown = 0, n_here = 0;

		for (size_t i = 0; i < system->n_programs; i++) {
			const struct program *program = &system->programs[i];

			if (program->kind != groups[g].kind || program->is_component ||
			    program->is_update)
				continue;
			if (n_here++ == 0)
				line(out, 2, 4, "%s:", groups[g].title);
			if (n_shown < PROGRAMS_SHOWN) {
				print_program(survey, system, program, out);
				n_shown++;
			}
		}
		n_programs += n_here;
		if (n_here > n_shown)
			line(out, 4, 4, "and %zu more: --json lists all of them.", n_here - n_shown);
	}
	for (size_t i = 0; i < system->n_programs; i++)
		n_parts += system->programs[i].is_component || system->programs[i].is_update;
	if (n_programs == 0)
		fputs("  none recorded\n", out);
	if (n_parts == 1)
		line(out, 2, 2, "1 update or part of another program is not shown.");
	else if (n_parts)
		line(out, 2, 2, "%zu updates and parts of other programs are not shown.", n_parts);
}

static void print_drivers(const struct old_system *system, FILE *out)
{
	if (system->n_drivers > 0)
		fputs("\nDrivers of printers and scanners that the old system keeps\n", out);
	for (size_t i = 0; i < system->n_drivers; i++) {
		const struct driver_package *driver = &system->drivers[i];

		line(out, 2, 6, "%s, %s%s%s%s%s: %s, taken with --take \"%s\\**\"",
		    driver->is_scanner ? "scanner or camera" : "printer", driver->provider,
		    *driver->version ? ", " : "", driver->version,
		    driver->bits == 64 ? ", 64-bit" : "", driver->bits == 32 ? ", 32-bit" : "",
		    text_size(driver->bytes).text, driver->folder);
	}
}

/* --- all of it --- */

/* "2026-03-01 09:30 UTC" */
static const char *time_words(int64_t filetime, char words[64])
{
	struct filetime_text text = filetime_to_text(filetime);

	words[0] = '\0';
	if (strlen(text.text) >= 16)
		snprintf(words, 64, "%.10s %.5s UTC", text.text, text.text + 11);
	return words;
}

static void print_system(const struct survey *survey, const struct old_system *system, FILE *out)
{
	char words[64];
	struct buf text = {0};

	fputc('\n', out);
	line(out, 0, 2, "Old system %s, %s on %s%s",
	    *system->computer ? system->computer : "(name unknown)", system->windows_path,
	    survey->volumes[system->volume].name,
	    system->is_copy ? " (a copy inside a folder)" : "");
	buf_printf(&text, "%s%s%s%s%s", *system->product ? system->product : "unknown",
	    *system->version ? ", version " : "", system->version, *system->build ? ", build " : "",
	    system->build);
	field(out, "Windows", buf_text(&text));
	field(out, "time zone", system->zone_name);
	field(out, "installed", time_words(system->installed, words));
	field(out, "last shutdown", time_words(system->last_shutdown, words));
	buf_free(&text);
	print_persons(survey, system, out);
	print_letters(survey, system, out);
	accounts_print(system, out);
	print_programs(survey, system, out);
	print_drivers(system, out);
	devices_print(system, out);
}

void findings_print(const struct findings *findings, FILE *out)
{
	for (size_t i = 0; i < findings->count; i++) {
		const struct finding *finding = &findings->items[i];
		struct buf text = {0};

		fprintf(out, "  %-8s ", weight_name(finding->weight));
		finding_to_text(finding, &text);
		text_wrap(out, buf_text(&text), 11, WIDTH);
		buf_free(&text);
	}
}

void survey_print(const struct survey *survey, FILE *out)
{
	organisations_print(survey, out);
	print_drives(survey, out);
	for (size_t i = 0; i < survey->n_systems; i++)
		print_system(survey, &survey->systems[i], out);
	if (recycle_bin_sum(survey, SIZE_MAX, SIZE_MAX).things > 0) {
		fputs("\nOf nobody who is known here\n", out);
		print_deleted(survey, SIZE_MAX, SIZE_MAX, out);
	}
	fputs("\nFindings\n", out);
	if (survey->findings && survey->findings->count > 0)
		findings_print(survey->findings, out);
	else
		fputs("  none\n", out);
}
