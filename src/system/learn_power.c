/*
 * Power choices: the scheme in use, and what of it somebody changed: when the screen goes dark and
 * the PC asleep, what the lid and the button do.
 *
 * Sources: Microsoft, "Power Policy Settings" (the GUIDs of subgroups and settings, seconds,
 * actions 0 to 3; the three schemes that every system has). Where a person's choices stand
 * (Control\Power\User\PowerSchemes, only what was changed; Control Panel\PowerCfg before Vista):
 * common practice, no source.
 */
#include "system/learn_devices.h"

#include <stdio.h>
#include <string.h>

#define KEY_SCHEMES "Control\\Power\\User\\PowerSchemes"

enum unit { UNIT_SECONDS, UNIT_ACTION };

static const struct {
	const char *path; /* subgroup and setting */
	const char *mains, *battery;
	enum unit unit;
} settings[] = {
    {"7516b95f-f776-4464-8c53-06167f40cc99\\3c0bc021-c8a8-4e07-a973-6b14cbcb2b7e", "screen_off",
	"screen_off_on_battery", UNIT_SECONDS},
    {"238c9fa8-0aad-41ed-83f4-97be242c8f20\\29f6c1db-86da-48c5-9fdb-f2b67b1f44da", "sleep_after",
	"sleep_after_on_battery", UNIT_SECONDS},
    {"4f971e89-eebd-4455-a8de-9e59040e7347\\5ca83367-6e45-459f-a27b-476b1d01c936", "lid",
	"lid_on_battery", UNIT_ACTION},
    {"4f971e89-eebd-4455-a8de-9e59040e7347\\7648efa3-dd9c-4e3e-b566-50f929386280", "power_button",
	"power_button_on_battery", UNIT_ACTION},
};

static void add_value(struct learn *learn, struct thing *thing, hive_cell key, const char *value,
    const char *detail, enum unit unit)
{
	static const char *const actions[] = {"nothing", "sleep", "hibernate", "shut down"};
	uint64_t number;
	char text[40];

	if (!hive_number(learn->config, key, "", value, &number))
		return;
	if (unit == UNIT_ACTION) {
		thing_add(learn, thing, detail, number < 4 ? actions[number] : NULL);
		return;
	}
	if (number == 0)
		snprintf(text, sizeof(text), "never");
	else if (number % 60)
		snprintf(text, sizeof(text), "%u seconds", (unsigned)number);
	else
		snprintf(text, sizeof(text), number == 60 ? "%u minute" : "%u minutes",
		    (unsigned)(number / 60));
	thing_add(learn, thing, detail, text);
}

/* The last part of a name that points into a resource: "@%SystemRoot%\...,-12,Balanced". */
static char *scheme_name(
    struct learn *learn, hive_cell scheme, const char *guid, struct arena *arena)
{
	static const struct {
		const char *guid, *name;
	} known[] = {{"381b4222-f694-41f0-9685-ff5bb260df2e", "Balanced"},
	    {"8c5e7fda-e8bf-4a96-9a85-a6e23a8c635c", "High performance"},
	    {"a1841308-3541-4fab-bc81-f71556f20b4a", "Power saver"}};
	char *name = scheme == HIVE_NO_CELL
			 ? NULL
			 : hive_text(learn->config, scheme, "", "FriendlyName", arena, NULL);
	char *comma = name && *name == '@' ? strrchr(name, ',') : NULL;

	if (comma)
		name = comma + 1;
	for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
		if (utf_equal_fold(guid, known[i].guid) && (!name || !*name || comma))
			return arena_strdup(arena, known[i].name);
	return name && *name ? name : arena_strdup(arena, guid);
}

void learn_power(struct learn *learn)
{
	struct arena arena = {0};
	hive_cell schemes = HIVE_NO_CELL, scheme = HIVE_NO_CELL;
	char *guid = NULL, *name;
	struct thing *thing;

	if (learn->config && learn->control != HIVE_NO_CELL)
		schemes = hive_find(learn->config, learn->control, KEY_SCHEMES);
	if (schemes != HIVE_NO_CELL)
		guid = hive_text(learn->config, schemes, "", "ActivePowerScheme", &arena, NULL);
	if (guid && *guid && !strchr(guid, '\\')) {
		scheme = hive_find(learn->config, schemes, guid);
		name = scheme_name(learn, scheme, guid, &arena);
		thing = name ? learn_thing(learn, THING_POWER, SIZE_MAX, name) : NULL;
		for (size_t i = 0;
		     thing && scheme != HIVE_NO_CELL && i < sizeof(settings) / sizeof(settings[0]);
		     i++) {
			hive_cell key = hive_find(learn->config, scheme, settings[i].path);

			if (key == HIVE_NO_CELL)
				continue;
			add_value(learn, thing, key, "ACSettingIndex", settings[i].mains,
			    settings[i].unit);
			add_value(learn, thing, key, "DCSettingIndex", settings[i].battery,
			    settings[i].unit);
		}
	}
	arena_free(&arena);
}

/* Before Vista every person had a scheme of their own. */
void learn_person_power(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	char *number = hive_text(
	    hive, hive_root(hive), "Control Panel\\PowerCfg", "CurrentPowerPolicy", &arena, NULL);
	char *path = NULL;

	if (number && *number && learn->is_nt5 && !strchr(number, '\\'))
		path = arena_printf(&arena, "Control Panel\\PowerCfg\\PowerPolicies\\%s", number);
	if (path)
		learn_thing(learn, THING_POWER, person,
		    hive_text(hive, hive_root(hive), path, "Name", &arena, NULL));
	arena_free(&arena);
}
