/*
 * Which Windows it is, and whose: product, build, computer name, time zone, last shutdown.
 *
 * Sources: winreg-kb "System keys" (Select, TimeZoneInformation, CurrentVersion); [MS-DTYP] 2.3.13;
 * POSIX.1-2017, Base Definitions 8.3 (TZ). The later name of builds from 22000 on: common practice,
 * no source.
 */
#include "system/inner.h"

#include "base/bytes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FIRST_BUILD_11 22000 /* its hive still says "Windows 10" */

/* --- the control set --- */

static hive_cell control_set(const struct hive *hive, uint64_t number)
{
	char path[40];

	if (number > 999)
		return HIVE_NO_CELL;
	snprintf(path, sizeof(path), "ControlSet%03u", (unsigned)number);
	return hive_find(hive, hive_root(hive), path);
}

/* The set that was in use: Select\Current, else what Select knows besides, else the lowest. */
hive_cell current_control_set(const struct hive *hive)
{
	static const char *const names[] = {"Current", "LastKnownGood", "Default"};
	hive_cell cell = HIVE_NO_CELL;
	uint64_t number;

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]) && cell == HIVE_NO_CELL; i++)
		if (hive_number(hive, hive_root(hive), "Select", names[i], &number))
			cell = control_set(hive, number);
	for (number = 1; number < 1000 && cell == HIVE_NO_CELL; number++)
		cell = control_set(hive, number);
	return cell;
}

/* --- time zone --- */

void zone_rule_from_hive(const uint8_t hive[16], uint8_t rule[16])
{
	/* TIME_FIELDS: year, month, day, hour, minute, second, milliseconds, weekday. */
	memcpy(rule, hive, 4);
	memcpy(rule + 4, hive + 14, 2);
	memcpy(rule + 6, hive + 4, 10);
}

static bool zone_number(struct learn *learn, const char *path, const char *name, int32_t *number)
{
	uint64_t value;

	if (!hive_number(learn->config, learn->control, path, name, &value))
		return false;
	*number = (int32_t)(uint32_t)value;
	return true;
}

static void zone_rule(struct learn *learn, const char *path, const char *name, uint8_t rule[16])
{
	struct arena arena = {0};
	const uint8_t *data;
	size_t length;

	if (hive_bytes(learn->config, learn->control, path, name, &arena, &data, &length) &&
	    length >= 16)
		zone_rule_from_hive(data, rule);
	arena_free(&arena);
}

static void learn_zone(struct learn *learn)
{
	static const char path[] = "Control\\TimeZoneInformation";
	struct old_system *system = learn->system;
	uint64_t off = 0;
	char *name;

	system->has_zone = zone_number(learn, path, "Bias", &system->bias);
	zone_number(learn, path, "StandardBias", &system->standard_bias);
	zone_number(learn, path, "DaylightBias", &system->daylight_bias);
	zone_rule(learn, path, "StandardStart", system->standard_start);
	zone_rule(learn, path, "DaylightStart", system->daylight_start);
	hive_number(learn->config, learn->control, path, "DynamicDaylightTimeDisabled", &off);
	if (off) {
		memset(system->standard_start, 0, 16);
		memset(system->daylight_start, 0, 16);
	}
	name = hive_text(
	    learn->config, learn->control, path, "TimeZoneKeyName", &learn->survey->arena, NULL);
	if (!name || !*name)
		name = hive_text(learn->config, learn->control, path, "StandardName",
		    &learn->survey->arena, NULL);
	system->zone_name = name ? name : "";
}

/* "<+01>-1" or "<-0330>3:30": a zone's name by its offset, and POSIX's reversed sign. */
static void add_offset(struct buf *out, int32_t bias)
{
	unsigned minutes = (unsigned)(bias < 0 ? -bias : bias);

	buf_printf(out, "<%c%02u", bias > 0 ? '-' : '+', minutes / 60);
	if (minutes % 60)
		buf_printf(out, "%02u", minutes % 60);
	buf_printf(out, ">%s%u", bias < 0 ? "-" : "", minutes / 60);
	if (minutes % 60)
		buf_printf(out, ":%02u", minutes % 60);
}

static const uint8_t month_days[12] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

/* One rule as "Mm.w.d/time", a rule for a single year as "Jn/time". False when it is no rule. */
static bool add_rule(struct buf *out, const uint8_t rule[16])
{
	unsigned year = get_u16(rule), month = get_u16(rule + 2), weekday = get_u16(rule + 4);
	unsigned day = get_u16(rule + 6);
	unsigned seconds =
	    get_u16(rule + 8) * 3600u + get_u16(rule + 10) * 60u + get_u16(rule + 12);

	if (month < 1 || month > 12 || weekday > 6 || day < 1 || day > 31 || (!year && day > 5) ||
	    seconds > 86400)
		return false;
	/* 23:59:59.999 stands for the end of the day. */
	if (get_u16(rule + 14) >= 500)
		seconds++;
	if (year) {
		for (unsigned m = 1; m < month; m++)
			day += month_days[m - 1];
		buf_printf(out, ",J%u", day);
	} else {
		buf_printf(out, ",M%u.%u.%u", month, day, weekday);
	}
	buf_printf(out, "/%u", seconds / 3600);
	if (seconds % 3600)
		buf_printf(out, ":%02u:%02u", seconds / 60 % 60, seconds % 60);
	return true;
}

bool zone_to_posix(const struct old_system *system, char *out, size_t size)
{
	int64_t standard = (int64_t)system->bias + system->standard_bias;
	int64_t daylight = (int64_t)system->bias + system->daylight_bias;
	struct buf text = {0}, rules = {0};
	bool fits;

	if (!system->has_zone || standard < -1440 || standard > 1440 || daylight < -1440 ||
	    daylight > 1440)
		return false;
	/* Both rules or none; a zone without daylight time has neither. */
	if (get_u16(system->standard_start + 2) == 0 || get_u16(system->daylight_start + 2) == 0 ||
	    !add_rule(&rules, system->daylight_start) || !add_rule(&rules, system->standard_start))
		buf_clear(&rules);
	add_offset(&text, (int32_t)standard);
	if (rules.length) {
		add_offset(&text, (int32_t)daylight);
		buf_add(&text, rules.data, rules.length);
	}
	fits = !text.failed && !rules.failed && text.length < size;
	if (fits)
		memcpy(out, buf_text(&text), text.length + 1);
	buf_free(&text);
	buf_free(&rules);
	return fits;
}

/* --- the machine --- */

static void learn_from_config(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct arena *arena = &learn->survey->arena;
	const uint8_t *data;
	size_t length;
	char *name;

	learn->control = current_control_set(learn->config);
	system->last_used = hive_last_written(learn->config);
	if (learn->control == HIVE_NO_CELL)
		return;
	name = hive_text(learn->config, learn->control, "Control\\ComputerName\\ComputerName",
	    "ComputerName", arena, NULL);
	if (!name || !*name)
		name = hive_text(learn->config, learn->control, "Services\\Tcpip\\Parameters",
		    "Hostname", arena, NULL);
	system->computer = name ? name : "";
	if (hive_bytes(learn->config, learn->control, "Control\\Windows", "ShutdownTime", arena,
		&data, &length) &&
	    length >= 8)
		system->last_shutdown = (int64_t)get_u64(data);
	if (system->last_shutdown > system->last_used)
		system->last_used = system->last_shutdown;
	learn_zone(learn);
}

static const char *nt_text(struct learn *learn, const char *name)
{
	char *text = hive_text(
	    learn->software, hive_root(learn->software), KEY_NT, name, &learn->survey->arena, NULL);

	return text ? text : "";
}

static bool nt_number(struct learn *learn, const char *name, uint64_t *number)
{
	return hive_number(learn->software, hive_root(learn->software), KEY_NT, name, number);
}

static void learn_build(struct learn *learn)
{
	struct old_system *system = learn->system;
	const char *build = nt_text(learn, "CurrentBuild");
	uint64_t number;

	if (!*build || strspn(build, "0123456789") != strlen(build))
		build = nt_text(learn, "CurrentBuildNumber");
	system->build = build;
	if (nt_number(learn, "UBR", &number))
		system->build = learn_text(learn, "%s.%llu", build, (unsigned long long)number);
	if (strtoul(build, NULL, 10) >= FIRST_BUILD_11 &&
	    strncmp(system->product, "Windows 10", 10) == 0)
		system->product = learn_text(learn, "Windows 11%s", system->product + 10);
}

static void learn_version(struct learn *learn)
{
	struct old_system *system = learn->system;
	const char *pack = nt_text(learn, "CSDVersion");

	system->version = nt_text(learn, "DisplayVersion");
	if (!*system->version)
		system->version = nt_text(learn, "ReleaseId");
	if (!*system->version)
		system->version = nt_text(learn, "CurrentVersion");
	if (*pack)
		system->version = learn_text(learn, "%s %s", system->version, pack);
	learn->is_nt5 = strncmp(nt_text(learn, "CurrentVersion"), "5.", 2) == 0;
}

static void learn_from_software(struct learn *learn)
{
	struct old_system *system = learn->system;
	const char *root;
	uint64_t number;

	system->product = nt_text(learn, "ProductName");
	system->edition = nt_text(learn, "EditionID");
	learn_build(learn);
	learn_version(learn);
	if (nt_number(learn, "InstallTime", &number))
		system->installed = (int64_t)number;
	else if (nt_number(learn, "InstallDate", &number) && number <= UINT32_MAX)
		system->installed = filetime_from_unix((int64_t)number, 0);
	root = nt_text(learn, "SystemRoot");
	if (!*root)
		root = nt_text(learn, "PathName");
	if (root[0] && root[1] == ':') {
		char letter =
		    root[0] >= 'a' && root[0] <= 'z' ? (char)(root[0] - 'a' + 'A') : root[0];

		if (letter >= 'A' && letter <= 'Z')
			system->letter = letter;
	}
}

void learn_identity(struct learn *learn)
{
	learn->control = HIVE_NO_CELL;
	if (learn->config)
		learn_from_config(learn);
	if (learn->software)
		learn_from_software(learn);
}
