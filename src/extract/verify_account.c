/* The sums of account.json against the record, and the losses that the job lists. */
#include "extract/verify_internal.h"

#include <inttypes.h>
#include <string.h>

#define ACCOUNT "account.json"

static uint64_t number_of(const json_t *object, const char *key)
{
	json_int_t value = json_integer_value(json_object_get(object, key));

	return value < 0 ? 0 : (uint64_t)value;
}

static bool check_streams(struct verify *verify, const json_t *streams, struct error *error)
{
	const struct verify_result *result = verify->result;

	for (size_t i = 0; i < RECORD_STATES; i++) {
		const json_t *state = json_object_get(streams, record_state_name(i));
		uint64_t count = number_of(state, "count"), bytes = number_of(state, "bytes");

		if ((count != result->state_count[i] || bytes != result->state_bytes[i]) &&
		    !differ(verify, error, DIFFERS_ACCOUNT, ACCOUNT,
			"It counts %" PRIu64 " streams with %" PRIu64
			" bytes as %s, the record has %" PRIu64 " with %" PRIu64 " bytes.",
			count, bytes, record_state_name(i), result->state_count[i],
			result->state_bytes[i]))
			return false;
	}
	return true;
}

/* What the owners of a volume add up to, and what belongs to nobody (less than 0: to two). */
static void add_owners(json_t *volume, int64_t *known, int64_t *unaccounted)
{
	json_t *owners = json_object_get(volume, "by_owner"), *value;
	const char *owner;
	bool has_free = false;

	*known = *unaccounted = 0;
	json_object_foreach(owners, owner, value)
	{
		int64_t count = json_integer_value(value);

		has_free = has_free || strcmp(owner, "free") == 0;
		if (strcmp(owner, "unaccounted") == 0)
			*unaccounted = count;
		else if (__builtin_add_overflow(*known, count, known))
			*known = INT64_MIN;
	}
	/* Free clusters stand among the owners or beside them. */
	if (!has_free && __builtin_add_overflow(*known, (int64_t)number_of(volume, "free"), known))
		*known = INT64_MIN;
}

/* Every cluster of a volume has exactly one owner. */
static bool check_volume(struct verify *verify, json_t *volume, struct error *error)
{
	const char *name = json_string_value(json_object_get(volume, "volume"));
	int64_t clusters = (int64_t)number_of(volume, "clusters");
	int64_t sum = (int64_t)number_of(volume, "sum"), known, unaccounted, total;

	if (name == NULL || !json_is_object(json_object_get(volume, "by_owner")))
		return differ(
		    verify, error, DIFFERS_FORM, ACCOUNT, "A volume has no name or no owners.");
	add_owners(volume, &known, &unaccounted);
	if (__builtin_add_overflow(known, unaccounted, &total))
		total = INT64_MIN;
	verify->result->n_unaccounted +=
	    unaccounted < 0 ? -(uint64_t)unaccounted : (uint64_t)unaccounted;
	if (total != clusters && !differ(verify, error, DIFFERS_ACCOUNT, ACCOUNT,
				     "The owners of volume %.60s add up to %" PRId64
				     " clusters, and it has %" PRId64 ".",
				     name, total, clusters))
		return false;
	if (sum != known && sum != total)
		return differ(verify, error, DIFFERS_ACCOUNT, ACCOUNT,
		    "The sum of volume %.60s is %" PRId64 ", its owners add up to %" PRId64 ".",
		    name, sum, known);
	return true;
}

/* Jobs that were made before drives were listed have none. */
static bool check_drives(struct verify *verify, const json_t *drives, struct error *error)
{
	const json_t *drive, *faults;
	size_t i;

	if (drives == NULL)
		return true;
	if (!json_is_array(drives))
		return differ(verify, error, DIFFERS_FORM, ACCOUNT, "Its drives are no list.");
	json_array_foreach(drives, i, drive)
	{
		faults = json_object_get(drive, "faults");
		if (json_is_string(json_object_get(drive, "path")) &&
		    (faults == NULL || json_is_null(faults) ||
			json_is_string(json_object_get(faults, "verdict"))))
			continue;
		if (!differ(verify, error, DIFFERS_FORM, ACCOUNT,
			"A drive has no path, or said something of itself without a verdict."))
			return false;
	}
	return true;
}

bool verify_account(struct verify *verify, struct error *error)
{
	json_t *json, *volumes, *volume;
	bool good;
	size_t i;

	if (!json_from_file(verify, ACCOUNT, &json, error))
		return false;
	if (json == NULL)
		return true;
	good = check_streams(verify, json_object_get(json, "streams"), error);
	good = good && check_drives(verify, json_object_get(json, "drives"), error);
	volumes = json_object_get(json, "volumes");
	if (good && !json_is_array(volumes))
		good = differ(verify, error, DIFFERS_FORM, ACCOUNT, "It lists no volumes.");
	json_array_foreach(volumes, i, volume) good = good && check_volume(verify, volume, error);
	json_decref(json);
	return good;
}

bool verify_findings(struct verify *verify, struct error *error)
{
	json_t *json, *list, *finding;
	size_t i;

	if (!json_from_file(verify, "findings.json", &json, error))
		return false;
	list = json_is_object(json) ? json_object_get(json, "findings") : json;
	json_array_foreach(list, i, finding)
	{
		const char *weight = json_string_value(json_object_get(finding, "weight"));

		verify->result->n_losses += weight != NULL && strcmp(weight, "loss") == 0;
	}
	json_decref(json);
	return true;
}
