/*
 * Installed programs: the records that their installers left in the hives.
 *
 * Sources: Microsoft's "Uninstall Registry Key" page (DisplayName, DisplayVersion, Publisher,
 * InstallDate, InstallLocation, EstimatedSize in KiB, URLInfoAbout, HelpLink). SystemComponent,
 * ParentKeyName and ReleaseType: common practice, no source.
 */
#include "system/inner.h"

#include "base/utf.h"

#include <string.h>

#define PROGRAM_LIMIT 50000

static const char *record_text(
    struct learn *learn, const struct hive *hive, hive_cell key, const char *name)
{
	char *text = learn_hive_text(learn, hive, key, "", name);

	return text ? text : "";
}

/* "20240517" becomes "2024-05-17"; anything else stays as recorded. */
static const char *record_date(struct learn *learn, const char *date)
{
	if (strlen(date) == 8 && strspn(date, "0123456789") == 8)
		return learn_text(learn, "%.4s-%.2s-%.2s", date, date + 4, date + 6);
	return date;
}

/* "KB" and at least six digits, at the start of a key or in brackets in a name. */
static bool is_patch_number(const char *text)
{
	return utf_starts_fold(text, "KB") && strspn(text + 2, "0123456789") >= 6;
}

static bool names_update(const char *key, const char *name, const char *release)
{
	static const char *const releases[] = {
	    "Update", "Hotfix", "Security Update", "Update Rollup", "Service Pack", "ServicePack"};
	const char *bracket = strrchr(name, '(');

	for (size_t i = 0; i < sizeof(releases) / sizeof(releases[0]); i++)
		if (utf_equal_fold(release, releases[i]))
			return true;
	return is_patch_number(key) || (bracket && is_patch_number(bracket + 1));
}

static void read_record(
    struct learn *learn, const struct hive *hive, hive_cell key, struct program *program)
{
	char *key_name = hive_key_name(hive, key, &learn->survey->arena);
	uint64_t number = 0;

	program->key = key_name ? key_name : "";
	program->name = record_text(learn, hive, key, "DisplayName");
	program->publisher = record_text(learn, hive, key, "Publisher");
	program->version = record_text(learn, hive, key, "DisplayVersion");
	program->installed = record_date(learn, record_text(learn, hive, key, "InstallDate"));
	program->folder = record_text(learn, hive, key, "InstallLocation");
	program->web_page = record_text(learn, hive, key, "URLInfoAbout");
	if (!*program->web_page)
		program->web_page = record_text(learn, hive, key, "HelpLink");
	if (hive_number(hive, key, "", "EstimatedSize", &number) && number <= UINT32_MAX)
		program->size = number * 1024;
	number = 0;
	hive_number(hive, key, "", "SystemComponent", &number);
	program->is_update =
	    names_update(program->key, program->name, record_text(learn, hive, key, "ReleaseType"));
	program->is_component =
	    number == 1 || (!program->is_update && *record_text(learn, hive, key, "ParentKeyName"));
}

void learn_program(struct learn *learn, const struct program *program)
{
	if (learn->n_programs >= PROGRAM_LIMIT)
		return;
	if (!array_reserve(&learn->programs, &learn->programs_capacity, learn->n_programs + 1,
		sizeof(*learn->programs))) {
		learn->no_memory = true;
		return;
	}
	learn->programs[learn->n_programs++] = *program;
}

/*
 * Where its files lie: the folder of the record, else that of its icon or of what removes it, as
 * far as they name one (common practice, no source).
 */
static const char *record_place(
    struct learn *learn, const struct hive *hive, hive_cell key, const struct program *program)
{
	const char *const names[] = {"DisplayIcon", "UninstallString"};

	if (*program->folder)
		return program->folder;
	for (size_t i = 0; i < 2; i++) {
		const char *text = record_text(learn, hive, key, names[i]), *last;

		text += *text == '"';
		if (!*text || text[1] != ':' || !(last = strrchr(text, '\\')) ||
		    memchr(text, '"', (size_t)(last - text)) ||
		    memchr(text, '/', (size_t)(last - text)))
			continue;
		return learn_text(learn, "%.*s", (int)(last - text), text);
	}
	return NULL;
}

static void read_records(
    struct learn *learn, const struct hive *hive, const char *path, size_t person, bool is_32_bit)
{
	hive_cell list = hive_find(hive, hive_root(hive), path), *keys;
	size_t n_keys;

	if (list == HIVE_NO_CELL)
		return;
	n_keys = hive_subkeys(hive, list, &learn->survey->arena, &keys);
	for (size_t i = 0; i < n_keys && learn->n_programs < PROGRAM_LIMIT; i++) {
		struct program program = {.person = person, .is_32_bit = is_32_bit};

		read_record(learn, hive, keys[i], &program);
		program.place = record_place(learn, hive, keys[i], &program);
		/* Without a name the old system showed no such program either. */
		if (!*program.name)
			continue;
		learn_program(learn, &program);
	}
}

void learn_programs(struct learn *learn, const struct hive *hive, const char *path, size_t person)
{
	const char *processor = environment_get(&learn->machine, "PROCESSOR_ARCHITECTURE");
	bool is_32_bit = processor && utf_equal_fold(processor, "x86");

	read_records(learn, hive, learn_text(learn, "%s" KEY_WINDOWS "\\Uninstall", path), person,
	    is_32_bit);
	read_records(learn, hive,
	    learn_text(learn, "%sWow6432Node\\" KEY_WINDOWS "\\Uninstall", path), person, true);
}
