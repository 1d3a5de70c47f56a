/*
 * Drive letters: what the old system's MountedDevices key says, and which attached volume that is.
 *
 * Sources: winreg-kb "Mounted devices" (value data: MBR signature and offset, "DMIO:ID:" and a GPT
 * partition GUID, device path text); UEFI Specification 2.10, 5.2.1 and 5.3.3.
 */
#include "system/inner.h"

#include "base/bytes.h"
#include "base/utf.h"

#include <string.h>

#define SECTOR_RATIO                                                                               \
	8 /* 4,096 to 512: an adapter that translates sector sizes scales offsets so               \
	   */
#define VALUE_LIMIT 4096 /* values of MountedDevices */
#define PATH_LIMIT 4096  /* bytes of a device path */

/* --- the value's data --- */

struct device_id device_id_read(const uint8_t *data, size_t length, struct arena *arena)
{
	struct device_id id = {.kind = DEVICE_UNKNOWN, .path = ""};
	char *path;

	if (length == 12) {
		id.kind = DEVICE_SIGNATURE;
		id.signature = get_u32(data);
		id.offset = get_u64(data + 4);
	} else if (length == 24 && memcmp(data, "DMIO:ID:", 8) == 0) {
		id.kind = DEVICE_PARTITION;
		memcpy(id.partition.bytes, data + 8, 16);
	} else if (length >= 4 && length <= PATH_LIMIT) {
		path = utf_arena_from_utf16(arena, data, length / 2, NULL);
		if (path && (path[0] == '\\' || path[0] == '_')) {
			id.kind = DEVICE_PATH;
			id.path = path;
		}
	}
	return id;
}

/* The value of "Ven_" or "Prod_" in "USBSTOR#Disk&Ven_Acme&Prod_Stick&Rev_1#serial&0#{class}". */
static char *path_field(const char *path, const char *field, struct arena *arena)
{
	const char *start = strstr(path, field);
	size_t length;
	char *text;

	if (!start)
		return NULL;
	start += strlen(field);
	length = strcspn(start, "&#");
	text = arena_text(arena, start, length);
	if (!text)
		return NULL;
	for (char *c = text; *c; c++)
		if (*c == '_')
			*c = ' ';
	for (length = strlen(text); length > 0 && text[length - 1] == ' '; length--)
		text[length - 1] = '\0';
	return *text ? text : NULL;
}

static const char *path_words(const char *path, struct arena *arena)
{
	const char *kind = "device";
	char *maker = path_field(path, "Ven_", arena);
	char *model = path_field(path, "Prod_", arena);
	char *words;

	if (strstr(path, "CdRom"))
		kind = "optical drive";
	else if (strstr(path, "FDC#") || strstr(path, "FLOPPY"))
		kind = "floppy drive";
	else if (strstr(path, "USBSTOR"))
		kind = "USB drive";
	else if (strstr(path, "SD#") || strstr(path, "SDMMC"))
		kind = "memory card";
	words = arena_printf(arena, "%s%s%s%s%s", kind, maker ? " " : "", maker ? maker : "",
	    model ? " " : "", model ? model : "");
	return words ? words : kind;
}

const char *device_id_words(const struct device_id *id, struct arena *arena)
{
	char *words = NULL;

	switch (id->kind) {
	case DEVICE_SIGNATURE:
		if (id->offset % (1024 * 1024) == 0)
			words = arena_printf(arena, "drive signature %08x, offset %llu MiB",
			    id->signature, (unsigned long long)(id->offset >> 20));
		else
			words = arena_printf(arena, "drive signature %08x, offset %llu bytes",
			    id->signature, (unsigned long long)id->offset);
		break;
	case DEVICE_PARTITION:
		words = arena_printf(arena, "partition %s", guid_to_text(&id->partition).text);
		break;
	case DEVICE_PATH:
		return path_words(id->path, arena);
	case DEVICE_UNKNOWN:
		break;
	}
	return words ? words : "unknown device";
}

/* --- matching --- */

enum fit {
	FIT_NOT,
	FIT_SCALED,
	FIT_EXACT,
};

static enum fit device_id_fits(
    const struct survey *survey, const struct device_id *id, const struct survey_volume *volume)
{
	const struct table *table = &survey->drives[volume->drive].table;
	uint64_t offset = volume->partition->offset;

	if (id->kind == DEVICE_PARTITION)
		return (table->kind == TABLE_GPT || table->dynamic != NULL) &&
			       guid_equal(&volume->partition->id, &id->partition)
			   ? FIT_EXACT
			   : FIT_NOT;
	if (id->kind != DEVICE_SIGNATURE || table->kind != TABLE_MBR ||
	    table->disk_signature != id->signature || id->signature == 0)
		return FIT_NOT;
	if (offset == id->offset)
		return FIT_EXACT;
	if (offset == id->offset / SECTOR_RATIO || offset / SECTOR_RATIO == id->offset)
		return FIT_SCALED;
	return FIT_NOT;
}

struct device_match device_id_match(
    const struct survey *survey, const struct device_id *id, size_t home)
{
	struct device_match match = {SIZE_MAX, CONFIDENCE_CERTAIN, 0};
	enum fit best = FIT_NOT;

	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct survey_volume *volume = &survey->volumes[v];
		enum fit fit = device_id_fits(survey, id, volume);

		if (fit == FIT_NOT || fit < best)
			continue;
		if (fit > best) {
			best = fit;
			match.volume = v;
			match.others = 0;
			continue;
		}
		match.others++;
		if (volume->drive == home && survey->volumes[match.volume].drive != home)
			match.volume = v;
	}
	if (match.others > 0)
		match.confidence = CONFIDENCE_DOUBTFUL;
	else if (best == FIT_SCALED)
		match.confidence = CONFIDENCE_LIKELY;
	return match;
}

/* --- the old system's letters --- */

static struct letter *letter_find(struct old_system *system, char letter)
{
	for (size_t i = 0; i < system->n_letters; i++)
		if (system->letters[i].letter == letter)
			return &system->letters[i];
	return NULL;
}

static void add_letter(struct learn *learn, char name, const struct device_id *id)
{
	struct old_system *system = learn->system;
	struct device_match match =
	    device_id_match(learn->survey, id, learn->survey->volumes[system->volume].drive);
	struct letter *letter = letter_find(system, name);

	if (!letter)
		letter = &system->letters[system->n_letters++];
	letter->letter = name;
	letter->volume = match.volume;
	letter->confidence = match.confidence;
	letter->removable = id->kind == DEVICE_PATH;
	letter->what = device_id_words(id, &learn->survey->arena);
	if (match.others > 0)
		findings_add(learn->findings, WEIGHT_CAUTION, "letter-doubtful", system->key,
		    "Attach only one of these drives at a time.",
		    "Drive %c: can be more than one of the attached drives, because they carry the "
		    "same "
		    "signature (%s), as copies of a drive do. It is taken to be %s.",
		    name, letter->what,
		    survey_volume_words(learn->survey, match.volume, &learn->survey->arena));
}

/* One value of MountedDevices: a letter, or the name of a volume. `arena` is for the way. */
static void add_value(struct learn *learn, hive_cell cell, struct arena *arena)
{
	static const char letters[] = "\\DosDevices\\", volumes[] = "\\??\\Volume";
	struct old_system *system = learn->system;
	char *name = hive_value_name(learn->config, cell, arena);
	const uint8_t *data;
	size_t length;
	uint32_t type;
	struct device_id id;

	if (!name || !hive_value_data(learn->config, cell, arena, &type, &data, &length, NULL))
		return;
	id = device_id_read(data, length, arena);
	if (utf_starts_fold(name, letters)) {
		const char *letter = name + strlen(letters);

		if (letter[0] >= 'A' && letter[0] <= 'Z' && letter[1] == ':' && !letter[2])
			add_letter(learn, letter[0], &id);
	} else if (utf_starts_fold(name, volumes)) {
		struct mount *mount = &system->mounts[system->n_mounts];

		if (!guid_from_text(name + strlen(volumes), &mount->guid))
			return;
		mount->volume = device_id_match(
		    learn->survey, &id, learn->survey->volumes[system->volume].drive)
				    .volume;
		system->n_mounts++;
	}
}

/*
 * Without the hive that names its Windows folder, the old system's letter is the one that its own
 * volume had.
 */
static void find_own_letter(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct letter *usual = letter_find(system, system->letter);

	if (learn->software || (usual && usual->volume == system->volume))
		return;
	for (size_t i = 0; i < system->n_letters; i++)
		if (system->letters[i].volume == system->volume &&
		    system->letters[i].confidence != CONFIDENCE_DOUBTFUL) {
			system->letter = system->letters[i].letter;
			return;
		}
}

/* The letter under which the old system ran belongs to the volume that it was found on. */
static void set_own_letter(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct letter *own = letter_find(system, system->letter);

	if (!own) {
		own = &system->letters[system->n_letters++];
		own->letter = system->letter;
		own->what = "the old system's own drive";
	}
	own->volume = system->volume;
	own->confidence = CONFIDENCE_CERTAIN;
	own->removable = false;
}

static bool is_claimed(const struct old_system *system, size_t volume)
{
	for (size_t i = 0; i < system->n_letters; i++)
		if (system->letters[i].volume == volume)
			return true;
	return false;
}

/* Another PC's drive C: must not pass for this one's D:. */
static bool holds_other_system(const struct learn *learn, size_t volume)
{
	for (size_t i = 0; i < learn->survey->n_systems; i++)
		if (learn->survey->systems[i].volume == volume &&
		    !learn->survey->systems[i].is_copy)
			return true;
	return false;
}

/*
 * An image of a single volume carries no table to match. When exactly one such volume and exactly
 * one fixed drive's letter are left over, they most likely belong together.
 */
static void match_the_last(struct learn *learn)
{
	struct survey *survey = learn->survey;
	struct old_system *system = learn->system;
	struct letter *left = NULL;
	size_t volume = SIZE_MAX, n_left = 0, n_volumes = 0;

	for (size_t i = 0; i < system->n_letters; i++) {
		if (system->letters[i].volume != SIZE_MAX || system->letters[i].removable)
			continue;
		left = &system->letters[i];
		n_left++;
	}
	for (size_t v = 0; v < survey->n_volumes; v++) {
		if (survey->drives[survey->volumes[v].drive].table.kind != TABLE_NONE ||
		    !survey->volumes[v].volume || is_claimed(system, v) ||
		    holds_other_system(learn, v))
			continue;
		volume = v;
		n_volumes++;
	}
	if (n_left == 1 && n_volumes == 1) {
		left->volume = volume;
		left->confidence = CONFIDENCE_LIKELY;
	}
}

static void report_missing(struct learn *learn)
{
	const struct old_system *system = learn->system;

	for (size_t i = 0; i < system->n_letters; i++) {
		const struct letter *letter = &system->letters[i];

		if (letter->volume != SIZE_MAX || letter->removable)
			continue;
		findings_add(learn->findings, WEIGHT_NOTE, "letter-missing", system->key,
		    "If that drive still exists, attach it too.",
		    "The old system knew a drive %c: (%s) that is not attached.", letter->letter,
		    letter->what);
	}
}

void learn_letters(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct arena *arena = &learn->survey->arena;
	hive_cell key = HIVE_NO_CELL, *values = NULL;
	size_t n_values = 0;

	if (learn->config)
		key = hive_find(learn->config, hive_root(learn->config), "MountedDevices");
	if (key != HIVE_NO_CELL)
		n_values = hive_values(learn->config, key, arena, &values);
	if (n_values > VALUE_LIMIT)
		n_values = VALUE_LIMIT;
	system->letters = arena_array(arena, 26 + 1, sizeof(*system->letters));
	system->mounts = arena_array(arena, n_values + 1, sizeof(*system->mounts));
	if (!system->letters || !system->mounts) {
		learn->no_memory = true;
		return;
	}
	for (size_t i = 0; i < n_values; i++) {
		struct arena way = {0};

		add_value(learn, values[i], &way);
		arena_free(&way);
	}
	find_own_letter(learn);
	set_own_letter(learn);
	match_the_last(learn);
	report_missing(learn);
}
