/*
 * What a person set up to work with: keyboards, languages, formats, environment variables, screen
 * saver, mouse, accessibility; and of the machine its time zone and variables.
 *
 * Sources: Microsoft, "Default Input Profiles" (what Preload and Substitutes hold), "Windows NLS:
 * National Language Support" (names of the values of Control Panel\International), STICKYKEYS and
 * the other structures of accessibility (flag 1: on). Which variables every system has: common
 * practice, no source.
 */
#include "system/learn_devices.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define KEY_DESKTOP "Control Panel\\Desktop"

/* --- keyboards and languages --- */

/* "German (IBM)": in English, as the old system keeps it; NULL when it does not know the layout. */
static char *layout_name(struct learn *learn, const char *layout, struct arena *arena)
{
	char *path = arena_printf(arena, "Control\\Keyboard Layouts\\%s", layout);
	char *name = NULL;

	if (path && learn->config && learn->control != HIVE_NO_CELL && !strchr(layout, '\\'))
		name = hive_text(learn->config, learn->control, path, "Layout Text", arena, NULL);
	return name && *name ? name : NULL;
}

/* Preload has the languages in their order, Substitutes the layout that is used for one. */
static void learn_keyboards(struct learn *learn, const struct hive *hive, size_t person)
{
	for (unsigned number = 1; number <= 32; number++) {
		struct arena arena = {0};
		char order[16];
		char *language, *layout = NULL, *name;
		struct thing *thing = NULL;

		snprintf(order, sizeof(order), "%u", number);
		language = hive_text(
		    hive, hive_root(hive), "Keyboard Layout\\Preload", order, &arena, NULL);
		if (language && *language) {
			layout = hive_text(hive, hive_root(hive), "Keyboard Layout\\Substitutes",
			    language, &arena, NULL);
			layout = layout && *layout ? layout : language;
			name = layout_name(learn, layout, &arena);
			thing = learn_thing(learn, THING_KEYBOARD, person, name ? name : layout);
		}
		thing_add(learn, thing, "layout", layout);
		thing_add(learn, thing, "language", language);
		thing_add(learn, thing, "order", order);
		arena_free(&arena);
		if (!language)
			break;
	}
}

static void learn_languages(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	char **texts;
	size_t count = hive_texts(hive, hive_root(hive),
	    "Control Panel\\International\\User Profile", "Languages", &arena, &texts);

	for (size_t i = 0; i < count && i < 64; i++) {
		char order[16];

		snprintf(order, sizeof(order), "%zu", i + 1);
		thing_add(
		    learn, learn_thing(learn, THING_LANGUAGE, person, texts[i]), "order", order);
	}
	arena_free(&arena);
}

static void learn_formats(struct learn *learn, const struct hive *hive, size_t person)
{
	static const struct {
		const char *value, *detail;
	} values[] = {{"sShortDate", "short_date"}, {"sLongDate", "long_date"},
	    {"sTimeFormat", "time"}, {"sDecimal", "decimal_sign"}, {"sThousand", "thousands_sign"},
	    {"sCurrency", "currency"}, {"iFirstDayOfWeek", "first_day_of_week"},
	    {"iMeasure", "measures"}};
	static const char *const names[] = {"LocaleName", "sCountry", "Locale"};
	hive_cell key = hive_find(hive, hive_root(hive), "Control Panel\\International");
	struct arena arena = {0};
	struct thing *thing = NULL;

	for (size_t i = 0; key != HIVE_NO_CELL && !thing && i < sizeof(names) / sizeof(names[0]);
	     i++)
		thing = learn_thing(
		    learn, THING_FORMATS, person, hive_text(hive, key, "", names[i], &arena, NULL));
	for (size_t i = 0; thing && i < sizeof(values) / sizeof(values[0]); i++)
		thing_add_text(learn, thing, values[i].detail, hive, key, values[i].value);
	arena_free(&arena);
}

/* --- environment variables --- */

static bool is_usual_variable(const char *name)
{
	static const char *const usual[] = {"ComSpec", "DriverData", "FP_NO_HOST_CHECK",
	    "NUMBER_OF_PROCESSORS", "OneDrive", "OneDriveConsumer", "OS", "PATHEXT",
	    "PROCESSOR_ARCHITECTURE", "PROCESSOR_IDENTIFIER", "PROCESSOR_LEVEL",
	    "PROCESSOR_REVISION", "PSModulePath", "TEMP", "TMP", "USERNAME", "windir", "asl.log",
	    "windows_tracing_flags", "windows_tracing_logfile"};

	for (size_t i = 0; i < sizeof(usual) / sizeof(usual[0]); i++)
		if (utf_equal_fold(name, usual[i]))
			return true;
	return false;
}

/* What may be a secret stays in the hive. */
static bool is_secret_name(const char *name)
{
	static const char *const words[] = {
	    "key", "token", "secret", "pass", "pwd", "auth", "credential"};

	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcasestr(name, words[i]))
			return true;
	return false;
}

/* The parts of a search path that lie in the old system's folder, or are a person's by default, are
 * no news. */
static void add_search_path(struct learn *learn, struct thing *thing, const char *value)
{
	struct buf text = {0};

	while (*value) {
		size_t length = strcspn(value, ";");

		if (length > 0 && !utf_starts_fold(value, "%SystemRoot%") &&
		    !utf_starts_fold(value, "C:\\Windows") &&
		    !utf_starts_fold(
			value, "%USERPROFILE%\\AppData\\Local\\Microsoft\\WindowsApps")) {
			if (text.length > 0)
				buf_add_byte(&text, ';');
			buf_add(&text, value, length);
		}
		value += length + (value[length] == ';');
	}
	if (text.length > 0 && !text.failed)
		thing_add(learn, thing, "value", buf_text(&text));
	buf_free(&text);
}

static void add_variable(
    struct learn *learn, const struct hive *hive, hive_cell key, const char *name, size_t person)
{
	struct arena arena = {0};
	char *value = hive_text(hive, key, "", name, &arena, NULL);
	bool is_path = utf_equal_fold(name, "Path");
	struct thing *thing = NULL;
	size_t before = learn->n_things;

	if (value && *value && !is_usual_variable(name))
		thing = learn_thing(learn, THING_VARIABLE, person, name);
	if (thing && is_path)
		add_search_path(learn, thing, value);
	else if (is_secret_name(name))
		thing_add(learn, thing, "value_kept_in", "registry");
	else
		thing_add(learn, thing, "value", value);
	/* A search path with nothing of its own. */
	if (thing && is_path && thing->n_details == 0)
		learn->n_things = before;
	arena_free(&arena);
}

static void learn_variables(
    struct learn *learn, const struct hive *hive, hive_cell key, size_t person)
{
	struct arena arena = {0}, one = {0};
	hive_cell *values;
	size_t count = key == HIVE_NO_CELL ? 0 : hive_values(hive, key, &arena, &values);

	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++) {
		char *name = hive_value_name(hive, values[i], &one);

		if (name && *name)
			add_variable(learn, hive, key, name, person);
		arena_free(&one);
	}
	arena_free(&arena);
}

void learn_machine_settings(struct learn *learn)
{
	if (learn->system->zone_name && *learn->system->zone_name)
		learn_thing(learn, THING_TIME_ZONE, SIZE_MAX, learn->system->zone_name);
	if (learn->config && learn->control != HIVE_NO_CELL)
		learn_variables(learn, learn->config,
		    hive_find(
			learn->config, learn->control, "Control\\Session Manager\\Environment"),
		    SIZE_MAX);
}

/* --- screen saver, mouse --- */

static void learn_screen_saver(struct learn *learn, const struct hive *hive, size_t person)
{
	hive_cell key = hive_find(hive, hive_root(hive), KEY_DESKTOP);
	struct arena arena = {0};
	char *path, *name;
	struct thing *thing;

	if (key == HIVE_NO_CELL)
		return;
	path = hive_text(hive, key, "", "SCRNSAVE.EXE", &arena, NULL);
	if (path && *path) {
		name = strrchr(path, '\\');
		thing = learn_thing(learn, THING_SCREEN_SAVER, person, name ? name + 1 : path);
		thing_add(learn, thing, "path", path);
		thing_add_text(learn, thing, "seconds", hive, key, "ScreenSaveTimeOut");
		thing_add_text(learn, thing, "asks_for_password", hive, key, "ScreenSaverIsSecure");
	}
	arena_free(&arena);
}

static void learn_mouse(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	char *swap = hive_text(
	    hive, hive_root(hive), "Control Panel\\Mouse", "SwapMouseButtons", &arena, NULL);

	if (swap && strcmp(swap, "1") == 0)
		learn_thing(learn, THING_MOUSE, person, "buttons swapped, for the left hand");
	arena_free(&arena);
}

/* --- accessibility --- */

static void learn_accessibility(struct learn *learn, const struct hive *hive, size_t person)
{
	static const struct {
		const char *key, *words;
	} aids[] = {{"StickyKeys", "sticky keys"}, {"Keyboard Response", "filter keys"},
	    {"ToggleKeys", "toggle keys"}, {"MouseKeys", "mouse moved by keys"},
	    {"HighContrast", "high contrast"}, {"SoundSentry", "sounds shown on the screen"}};
	struct arena arena = {0};
	char *started, *rest = NULL;
	uint64_t scale;

	for (size_t i = 0; i < sizeof(aids) / sizeof(aids[0]); i++) {
		char *path = arena_printf(&arena, "Control Panel\\Accessibility\\%s", aids[i].key);
		char *flags =
		    path ? hive_text(hive, hive_root(hive), path, "Flags", &arena, NULL) : NULL;

		if (flags && strtoul(flags, NULL, 10) & 1)
			learn_thing(learn, THING_ACCESSIBILITY, person, aids[i].words);
	}
	/* Programs started at every log-on: "magnifierpane,narrator". */
	started = hive_text(hive, hive_root(hive), "Software\\" KEY_NT "\\Accessibility",
	    "Configuration", &arena, NULL);
	for (char *name = started ? strtok_r(started, ",", &rest) : NULL; name;
	     name = strtok_r(NULL, ",", &rest))
		if (learn->n_things < 10000)
			learn_thing(learn, THING_ACCESSIBILITY, person, name);
	if (hive_number(hive, hive_root(hive), "Software\\Microsoft\\Accessibility",
		"TextScaleFactor", &scale) &&
	    scale > 100 && scale <= 1000)
		learn_thing(learn, THING_ACCESSIBILITY, person,
		    arena_printf(&arena, "text at %u percent", (unsigned)scale));
	arena_free(&arena);
}

void learn_person_settings(struct learn *learn, const struct hive *hive, size_t person)
{
	learn_keyboards(learn, hive, person);
	learn_languages(learn, hive, person);
	learn_formats(learn, hive, person);
	learn_variables(learn, hive, hive_find(hive, hive_root(hive), "Environment"), person);
	learn_screen_saver(learn, hive, person);
	learn_mouse(learn, hive, person);
	learn_accessibility(learn, hive, person);
}
