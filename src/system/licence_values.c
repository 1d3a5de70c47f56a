/* Values of the registry that look like serial numbers: see program_licences.h. */
#include "system/program_licences.h"

#include "base/utf.h"
#include "system/inner.h"

#include <ctype.h>
#include <string.h>

#define DEPTH_LIMIT 5u
#define KEYS_LIMIT 60000u
#define VALUES_LIMIT 2000u
#define LICENCES_LIMIT 2000u
#define NUMBER_LIMIT 512u /* bytes of a value: more is no number that anybody types */

/* A walk through one hive. */
struct value_walk {
	const struct hive *hive;
	licence_value_taker *take;
	void *context;
	size_t n_keys;
};

/* Compared without case, blanks and punctuation. */
static bool is_called_so(const char *name)
{
	static const char *const names[] = {"serial", "serialno", "serialnum", "serialnumber",
	    "serialkey", "serialcode", "productkey", "productserial", "licensekey", "licencekey",
	    "license", "licence", "licensecode", "licencecode", "licensenumber", "licencenumber",
	    "regcode", "regkey", "regnumber", "regno", "registrationcode", "registrationkey",
	    "registrationnumber", "activationcode", "activationkey", "unlockcode", "unlockkey",
	    "cdkey", "keycode"};
	char plain[24];
	size_t length = 0;

	for (; *name; name++) {
		if ((uint8_t)*name >= 0x80 || length == sizeof(plain) - 1)
			return false;
		if (isalnum((unsigned char)*name))
			plain[length++] = (char)tolower((unsigned char)*name);
	}
	plain[length] = '\0';
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (strcmp(plain, names[i]) == 0)
			return true;
	return false;
}

/* Digits, and neither a path nor an address nor an identity of a program. */
static bool is_number(const char *text)
{
	size_t length = strlen(text);

	return length >= 4 && length <= NUMBER_LIMIT && strpbrk(text, "0123456789") &&
	       !strstr(text, ":\\") && !strstr(text, "://") && *text != '{' && *text != '%';
}

static char *bytes_as_text(const uint8_t *data, size_t length, struct arena *arena)
{
	struct buf text = {0};
	char *kept;

	for (size_t i = 0; i < length; i++)
		buf_printf(&text, "%02x", data[i]);
	kept = text.failed ? NULL : arena_strdup(arena, buf_text(&text));
	buf_free(&text);
	return kept;
}

/* The value's text if it looks like a number; bytes as hexadecimal digits. NULL: it does not. */
static char *number_in(
    const struct hive *hive, hive_cell key, hive_cell value, const char *name, struct arena *arena)
{
	const uint8_t *data;
	size_t length;
	uint32_t type;
	char *text = NULL;

	if (!hive_value_data(hive, value, arena, &type, &data, &length, NULL))
		return NULL;
	if (type == HIVE_BINARY && length >= 8 && length <= NUMBER_LIMIT)
		return bytes_as_text(data, length, arena);
	if (type == HIVE_SZ || type == HIVE_MULTI_SZ)
		text = hive_text(hive, key, "", name, arena, NULL);
	return text && is_number(text) ? text : NULL;
}

static void look_at_values(struct value_walk *walk, hive_cell key, const char *path)
{
	struct arena list = {0}, one = {0};
	hive_cell *values;
	size_t count = hive_values(walk->hive, key, &list, &values);

	for (size_t i = 0; i < count && i < VALUES_LIMIT; i++) {
		char *name = hive_value_name(walk->hive, values[i], &one), *text;

		if (name && is_called_so(name)) {
			text = number_in(walk->hive, key, values[i], name, &one);
			if (text)
				walk->take(walk->context, path, name, text);
		}
		arena_free(&one);
	}
	arena_free(&list);
}

/* The old system's own, and what belongs to no program. */
static bool is_skipped(const char *name)
{
	static const char *const names[] = {"Microsoft", "Classes", "Policies", "Clients", "ODBC",
	    "RegisteredApplications", "Wow6432Node", "WOW6464Node"};

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (utf_equal_fold(name, names[i]))
			return true;
	return false;
}

static void look_below(struct value_walk *walk, hive_cell key, const char *path, unsigned depth)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = hive_subkeys(walk->hive, key, &arena, &keys);

	for (size_t i = 0; i < count && walk->n_keys < KEYS_LIMIT; i++) {
		char *name = hive_key_name(walk->hive, keys[i], &arena);
		char *below =
		    name ? arena_printf(&arena, "%s%s%s", path, *path ? "\\" : "", name) : NULL;

		walk->n_keys++;
		if (!below || (depth == DEPTH_LIMIT && is_skipped(name)))
			continue;
		look_at_values(walk, keys[i], below);
		if (depth > 1)
			look_below(walk, keys[i], below, depth - 1);
	}
	arena_free(&arena);
}

void licence_values_walk(
    const struct hive *hive, const char *root, licence_value_taker *take, void *context)
{
	struct value_walk walk = {.hive = hive, .take = take, .context = context};
	struct arena arena = {0};
	const char *roots[2] = {
	    root, arena_printf(&arena, "%s%sWow6432Node", root, *root ? "\\" : "")};

	for (size_t i = 0; i < 2 && roots[i]; i++) {
		hive_cell key = hive_find(hive, hive_root(hive), roots[i]);

		if (key != HIVE_NO_CELL)
			look_below(&walk, key, roots[i], DEPTH_LIMIT);
	}
	arena_free(&arena);
}

/* --- while an old system is learned: only where they are --- */

struct learning {
	struct learn *learn;
	size_t person;
};

static const char *value_place(
    struct arena *arena, size_t person, const char *path, const char *name)
{
	return arena_printf(arena, "%s\\%s\\%s",
	    person == SIZE_MAX ? "HKEY_LOCAL_MACHINE\\SOFTWARE" : "HKEY_CURRENT_USER", path, name);
}

static void keep_value(void *context, const char *path, const char *name, const char *text)
{
	struct learning *learning = context;
	struct learn *learn = learning->learn;
	const char *where;

	(void)text;
	if (learn->n_licences >= LICENCES_LIMIT || strlen(path) > TEXT_LIMIT)
		return;
	where = value_place(&learn->survey->arena, learning->person, path, name);
	if (where && array_reserve(&learn->licences, &learn->licences_capacity,
			 learn->n_licences + 1, sizeof(*learn->licences)))
		learn->licences[learn->n_licences++] = (struct program_licence){.program = SIZE_MAX,
		    .person = learning->person,
		    .is_value = true,
		    .where = where};
	else
		learn->no_memory = true;
}

void learn_licence_values(struct learn *learn, const struct hive *hive, size_t person)
{
	struct learning learning = {learn, person};

	licence_values_walk(hive, person == SIZE_MAX ? "" : "Software", keep_value, &learning);
}

/* --- when the owner asked for them --- */

struct reading {
	size_t person;
	licence_text_taker *take;
	void *context;
};

static void pass_value(void *context, const char *path, const char *name, const char *text)
{
	struct reading *reading = context;
	struct arena arena = {0};
	const char *where = value_place(&arena, reading->person, path, name);

	if (where)
		reading->take(reading->context, reading->person, where, text);
	arena_free(&arena);
}

void program_licences_read(const struct survey *survey, const struct old_system *system,
    licence_text_taker *take, void *context)
{
	struct survey view = *survey;
	struct old_system about = *system;
	/* Silent: what is wrong with the hives was said when they were surveyed. */
	struct learn learn = {.survey = &view, .system = &about};
	struct reading reading = {SIZE_MAX, take, context};
	struct hive *hive;

	if (!survey_catalogue(survey, system->volume))
		return;
	hive = load_machine_hive(&learn, "SOFTWARE", "");
	if (hive)
		licence_values_walk(hive, "", pass_value, &reading);
	hive_close(hive);
	for (size_t p = 0; p < system->n_persons; p++) {
		if (system->persons[p].is_service || !system->persons[p].has_hive)
			continue;
		hive = load_person_hive(&learn, &system->persons[p]);
		reading.person = p;
		if (hive)
			licence_values_walk(hive, "Software", pass_value, &reading);
		hive_close(hive);
	}
}
