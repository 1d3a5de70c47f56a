/* The figures out of smartctl's JSON; see faults.h. Every value may be missing or wrong. */
#include "disk/faults.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define COUNT_MAX UINT32_MAX
#define ATTRIBUTES_MAX 256u /* a drive has at most 30 */
#define LOCKED 0x6u         /* word 128: security enabled, and locked */

/* --- reaching into the document --- */

/* The value at "a.b.c"; NULL when something on the way is not there or no object. */
static const json_t *reach(const json_t *at, const char *path)
{
	char key[64];

	while (at != NULL && *path != '\0') {
		size_t length = strcspn(path, ".");

		if (length >= sizeof(key))
			return NULL;
		memcpy(key, path, length);
		key[length] = '\0';
		at = json_object_get(at, key);
		path += length + (path[length] == '.');
	}
	return at;
}

/* A whole number from 0 to `most`. Numbers too large for an integer come as real ones. */
static bool number_at(const json_t *at, const char *path, uint64_t most, uint64_t *number)
{
	const json_t *found = reach(at, path);
	double value = json_number_value(found);

	if (!json_is_number(found) || !isfinite(value) || value < 0 || value > (double)most ||
	    value != floor(value))
		return false;
	*number = (uint64_t)value;
	return true;
}

static const char *text_at(const json_t *at, const char *path)
{
	const char *text = json_string_value(reach(at, path));

	return text != NULL ? text : "";
}

static void put(struct faults *faults, enum figure figure, uint64_t value)
{
	faults->known[figure] = true;
	faults->values[figure] = value;
}

static void take(
    struct faults *faults, enum figure figure, const json_t *json, const char *path, uint64_t most)
{
	uint64_t value;

	if (number_at(json, path, most, &value))
		put(faults, figure, value);
}

/* --- ATA --- */

/* What an attribute is taken for, when its name has the word, too. */
static const struct {
	unsigned id;
	const char *word, *other_word;
	enum figure figure;
} attributes[] = {
    {5, "Realloc", "Retired", FIGURE_REPLACED},
    {187, "Uncorrect", "Uncorrect", FIGURE_UNCORRECTED},
    {197, "Pending", "Pending", FIGURE_PENDING},
    {198, "Uncorrect", "Uncorrect", FIGURE_UNREADABLE},
    {199, "CRC", "CRC", FIGURE_CABLE},
};

/*
 * The count of an attribute: many makers keep other things in the upper bytes of the raw value, and
 * smartctl's text, which knows the maker, begins with the count.
 */
static bool count_of(const json_t *attribute, uint64_t *count)
{
	const char *text = text_at(attribute, "raw.string");
	char *end;

	if (*text >= '0' && *text <= '9') {
		*count = strtoull(text, &end, 10);
		return *count <= COUNT_MAX && (*end == '\0' || *end == ' ' || *end == '(');
	}
	return number_at(attribute, "raw.value", COUNT_MAX, count);
}

static void take_attribute(struct faults *faults, const json_t *attribute)
{
	const char *name = text_at(attribute, "name"), *failed = text_at(attribute, "when_failed");
	bool foretells = json_is_true(reach(attribute, "flags.prefailure"));
	uint64_t id, count;

	if (strcmp(failed, "now") == 0)
		faults->values[foretells ? FIGURE_BELOW_LIMIT : FIGURE_AGED]++;
	else if (*failed != '\0' && foretells)
		faults->values[FIGURE_WAS_BELOW]++;
	if (!number_at(attribute, "id", 255, &id))
		return;
	for (size_t i = 0; i < sizeof(attributes) / sizeof(attributes[0]); i++)
		if (attributes[i].id == id &&
		    (strstr(name, attributes[i].word) != NULL ||
			strstr(name, attributes[i].other_word) != NULL) &&
		    count_of(attribute, &count))
			put(faults, attributes[i].figure, count);
}

static void take_ata(struct faults *faults, const json_t *json)
{
	const json_t *table = reach(json, "ata_smart_attributes.table");
	uint64_t all, outdated = 0;

	if (json_is_array(table) && json_array_size(table) > 0) {
		faults->known[FIGURE_BELOW_LIMIT] = faults->known[FIGURE_AGED] = true;
		faults->known[FIGURE_WAS_BELOW] = true;
		for (size_t i = 0; i < json_array_size(table) && i < ATTRIBUTES_MAX; i++)
			take_attribute(faults, json_array_get(table, i));
	}
	take(faults, FIGURE_LOGGED, json, "ata_smart_error_log.summary.count", COUNT_MAX);
	if (!number_at(json, "ata_smart_self_test_log.standard.error_count_total", COUNT_MAX, &all))
		return;
	/* A test that failed before the same test succeeded does not count. */
	number_at(json, "ata_smart_self_test_log.standard.error_count_outdated", all, &outdated);
	put(faults, FIGURE_SELF_TESTS, all - outdated);
}

static bool is_locked(const json_t *json)
{
	uint64_t word;

	return json_is_true(reach(json, "ata_security.locked")) ||
	       (number_at(json, "ata_security.state", UINT16_MAX, &word) &&
		   (word & LOCKED) == LOCKED);
}

/* --- NVMe, SCSI --- */

static void take_nvme(struct faults *faults, const json_t *json)
{
	const json_t *log = reach(json, "nvme_smart_health_information_log");

	take(faults, FIGURE_WARNING, log, "critical_warning", 255);
	take(faults, FIGURE_LIFE_USED, log, "percentage_used", 255);
	take(faults, FIGURE_SPARE, log, "available_spare", 100);
	take(faults, FIGURE_SPARE_THRESHOLD, log, "available_spare_threshold", 100);
	take(faults, FIGURE_MEDIA_ERRORS, log, "media_errors", UINT64_C(1) << 53);
}

static void take_scsi(struct faults *faults, const json_t *json)
{
	take(faults, FIGURE_DEFECTS, json, "scsi_grown_defect_list", COUNT_MAX);
	if (!faults->known[FIGURE_UNCORRECTED])
		take(faults, FIGURE_UNCORRECTED, json,
		    "scsi_error_counter_log.read.total_uncorrected_errors", COUNT_MAX);
}

/* --- no answer --- */

static bool has_message(const json_t *json, const char *words)
{
	const json_t *messages = reach(json, "smartctl.messages");

	for (size_t i = 0; i < json_array_size(messages) && i < ATTRIBUTES_MAX; i++)
		if (strstr(text_at(json_array_get(messages, i), "string"), words) != NULL)
			return true;
	return false;
}

/* Bits 0 and 1 of smartctl's exit status: it could not begin, the drive could not be opened. */
static const char *why_not(const json_t *json)
{
	uint64_t status = 0;

	number_at(json, "smartctl.exit_status", 255, &status);
	if (has_message(json, "Permission denied"))
		return "Asking a drive needs the rights of root: run coldlift with sudo.";
	if (has_message(json, "USB bridge"))
		return "Its USB adapter does not pass such questions on.";
	if (json_is_false(reach(json, "smart_support.enabled")) &&
	    json_is_true(reach(json, "smart_support.available")))
		return "The drive's watch over its own health is switched off.";
	if (json_is_false(reach(json, "smart_support.available")))
		return "The drive does not watch its own health, or its adapter does not say so.";
	if ((status & 3) != 0)
		return "The drive, or what it is connected through, cannot be asked.";
	return "The drive was asked and said nothing of its health.";
}

/* Says the document anything about the drive's health? Hours and temperature do not. */
static bool says_anything(const struct faults *faults)
{
	for (unsigned i = 0; i < FIGURE_HOURS; i++)
		if (faults->known[i])
			return true;
	return false;
}

void faults_read(const char *text, size_t length, struct faults *faults)
{
	json_t *json = json_loadb(text, length, JSON_DECODE_INT_AS_REAL, NULL);
	const json_t *passed = reach(json, "smart_status.passed");

	*faults = (struct faults){0};
	if (!json_is_object(json)) {
		faults_set_unknown(faults, "The answer of smartctl cannot be read.");
		json_decref(json);
		return;
	}
	if (json_is_boolean(passed))
		put(faults, FIGURE_SAYS_HEALTHY, json_is_true(passed));
	take_ata(faults, json);
	take_nvme(faults, json);
	take_scsi(faults, json);
	take(faults, FIGURE_HOURS, json, "power_on_time.hours", COUNT_MAX);
	take(faults, FIGURE_TEMPERATURE, json, "temperature.current", 200);
	if (is_locked(json))
		faults->verdict = FAULTS_LOCKED;
	else if (!says_anything(faults))
		faults_set_unknown(faults, why_not(json));
	if (faults->verdict != FAULTS_UNKNOWN)
		faults_judge(faults);
	json_decref(json);
}
