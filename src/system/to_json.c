/* The survey as JSON, for other programs. Key order and names are stable. */
#include "base/json.h"
#include "system/devices.h"
#include "system/inner.h"
#include "system/licence.h"
#include "system/found_files.h"
#include "system/recycle_bin.h"
#include "system/ties.h"
#include "system/traces.h"

#include <string.h>

static const char *confidence_name(enum confidence confidence)
{
	switch (confidence) {
	case CONFIDENCE_CERTAIN:
		return "certain";
	case CONFIDENCE_LIKELY:
		return "likely";
	case CONFIDENCE_DOUBTFUL:
		break;
	}
	return "doubtful";
}

static void volume_name(
    const struct survey *survey, struct json *json, const char *key, size_t volume)
{
	json_key_text(json, key, volume < survey->n_volumes ? survey->volumes[volume].name : NULL);
}

/* {"volume":"D:","path":"\\Photos"}, or null when it is nowhere. */
static void location_to_json(
    const struct survey *survey, struct json *json, const char *key, struct location at)
{
	const struct catalogue *catalogue = survey_catalogue(survey, at.volume);
	struct buf path = {0};

	json_key(json, key);
	if (!catalogue || at.node == NONE) {
		json_put_null(json);
		return;
	}
	catalogue_node_path(catalogue, at.node, &path);
	json_begin_object(json);
	volume_name(survey, json, "volume", at.volume);
	json_key_text(json, "path", buf_text(&path));
	json_end(json);
	buf_free(&path);
}

static void sum_to_json(const struct survey *survey, struct json *json, struct location at)
{
	struct sum sum = survey_sum(survey, at);

	json_key_unsigned(json, "files", sum.files);
	json_key_unsigned(json, "bytes", sum.bytes);
	json_key_unsigned(json, "cloud_files", sum.cloud_files);
	json_key_unsigned(json, "cloud_bytes", sum.cloud_bytes);
}

static void place_to_json(const struct survey *survey, struct json *json, const struct place *place)
{
	json_begin_object(json);
	json_key_text(json, "place", place->role);
	json_key_text(json, "folder", place->folder);
	json_key_text(json, "status", place_status_name(place->status));
	json_key_bool(json, "cloud", place->in_cloud_folder);
	json_key_text(json, "path", place->path);
	json_key_text(json, "value", place->value);
	json_key_text(json, "from", place->from);
	location_to_json(survey, json, "at", place->at);
	location_to_json(survey, json, "leftover", place->leftover);
	location_to_json(survey, json, "offline", place->offline);
	sum_to_json(survey, json, place->at);
	json_end(json);
}

static void places_to_json(const struct survey *survey, struct json *json, const char *key,
    const struct place *places, size_t n_places)
{
	json_key(json, key);
	json_begin_array(json);
	for (size_t i = 0; i < n_places; i++)
		place_to_json(survey, json, &places[i]);
	json_end(json);
}

static void person_to_json(
    const struct survey *survey, struct json *json, const struct person *person)
{
	json_begin_object(json);
	json_key_text(json, "key", person->key);
	json_key_text(json, "account", person->account);
	json_key_text(json, "full_name", person->full_name);
	json_key_text(json, "domain", person->domain);
	json_key_text(json, "sid", person->sid);
	json_key_text(json, "folder", person->folder);
	json_key_text(json, "path", person->path);
	location_to_json(survey, json, "profile", person->profile);
	json_key_bool(json, "hive", person->has_hive);
	json_key_bool(json, "service", person->is_service);
	json_key_bool(json, "backup_twin", person->is_backup_twin);
	json_key_bool(json, "temporary", person->is_temporary);
	json_key_bool(json, "unlisted", person->is_unlisted);
	sum_to_json(survey, json, person->is_service ? NO_LOCATION : person->profile);
	places_to_json(survey, json, "places", person->places, person->n_places);
	places_to_json(survey, json, "settings", person->settings, person->n_settings);
	json_end(json);
}

static void letters_to_json(
    const struct survey *survey, struct json *json, const struct old_system *system)
{
	json_key(json, "letters");
	json_begin_array(json);
	for (size_t i = 0; i < system->n_letters; i++) {
		const struct letter *letter = &system->letters[i];
		char name[3] = {letter->letter, ':', '\0'};

		json_begin_object(json);
		json_key_text(json, "letter", name);
		json_key_bool(json, "attached", letter->volume != SIZE_MAX);
		volume_name(survey, json, "volume", letter->volume);
		json_key_text(json, "confidence",
		    letter->volume == SIZE_MAX ? NULL : confidence_name(letter->confidence));
		json_key_bool(json, "removable", letter->removable);
		json_key_text(json, "what", letter->what);
		json_end(json);
	}
	json_end(json);
}

static void system_to_json(
    const struct survey *survey, struct json *json, const struct old_system *system)
{
	char letter[3] = {system->letter, ':', '\0'}, zone[96];

	json_begin_object(json);
	json_key_text(json, "key", system->key);
	json_key_text(json, "computer", system->computer);
	volume_name(survey, json, "volume", system->volume);
	json_key_text(json, "windows", system->windows_path);
	json_key_text(json, "letter", letter);
	json_key_bool(json, "copy", system->is_copy);
	json_key_text(json, "product", system->product);
	json_key_text(json, "edition", system->edition);
	json_key_text(json, "version", system->version);
	json_key_text(json, "build", system->build);
	json_key(json, "licence");
	json_begin_object(json);
	json_key_text(json, "kind", licence_kind_name(system->licence.kind));
	json_key_text(json, "channel", system->licence.channel ? system->licence.channel : "");
	json_key_text(json, "sentence", licence_kind_sentence(system->licence.kind));
	json_end(json);
	json_key_time(json, "installed", system->installed);
	json_key_time(json, "last_shutdown", system->last_shutdown);
	json_key_text(json, "time_zone", system->zone_name);
	json_key_text(json, "posix_zone", zone_to_posix(system, zone, sizeof(zone)) ? zone : NULL);
	letters_to_json(survey, json, system);
	json_key(json, "persons");
	json_begin_array(json);
	for (size_t i = 0; i < system->n_persons; i++)
		person_to_json(survey, json, &system->persons[i]);
	json_end(json);
	location_to_json(survey, json, "profiles", system->profiles);
	location_to_json(survey, json, "public_profile", system->public_profile);
	location_to_json(survey, json, "default_profile", system->default_profile);
	places_to_json(survey, json, "shared", system->shared, system->n_shared);
	programs_keys_to_json(survey, system, 1, json);
	json_key(json, "accounts");
	json_begin_object(json);
	ties_to_json(system, json);
	json_end(json);
	json_key(json, "devices");
	things_to_json(system, json);
	json_end(json);
}

static void drive_to_json(struct json *json, const struct survey_drive *drive)
{
	static const char *const kinds[] = {[TABLE_NONE] = "none", [TABLE_MBR] = "mbr",
	    [TABLE_GPT] = "gpt", [TABLE_LOST] = "lost"};

	json_begin_object(json);
	drive_keys_to_json(&drive->about, json);
	json_key_unsigned(json, "sector_size", drive->about.sector_size);
	json_key_text(json, "table", kinds[drive->table.kind]);
	json_key(json, "faults");
	faults_to_json(&drive->faults, json);
	json_key(json, "link");
	drive_link_to_json(&drive->about, json);
	json_end(json);
}

static void volume_to_json(
    const struct survey *survey, struct json *json, const struct survey_volume *volume)
{
	const struct survey_drive *drive = &survey->drives[volume->drive];
	char letter[3] = {volume->letter, ':', '\0'};

	json_begin_object(json);
	json_key_text(json, "name", volume->name);
	json_key_text(json, "drive", drive->about.path);
	json_key_unsigned(json, "partition", volume->partition->number);
	json_key_unsigned(json, "offset", volume->partition->offset);
	json_key_unsigned(json, "length", volume->partition->length);
	json_key_text(json, "kind", partition_type_name(&drive->table, volume->partition));
	json_key_text(json, "file_system", filesystem_name(volume->filesystem));
	json_key_text(json, "label", volume->volume ? volume->volume->label : NULL);
	json_key_text(json, "letter", volume->letter ? letter : NULL);
	json_key_bool(json, "readable", volume->volume != NULL);
	json_key_bool(json, "system", volume->is_system_partition);
	json_end(json);
}

void survey_to_json(const struct survey *survey, struct json *json)
{
	json_begin_object(json);
	json_key_text(json, "program", "coldlift " COLDLIFT_VERSION);
	json_key(json, "drives");
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_drives; i++)
		drive_to_json(json, &survey->drives[i]);
	json_end(json);
	json_key(json, "volumes");
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_volumes; i++)
		volume_to_json(survey, json, &survey->volumes[i]);
	json_end(json);
	json_key(json, "systems");
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_systems; i++)
		system_to_json(survey, json, &survey->systems[i]);
	json_end(json);
	json_key(json, "recycle_bin");
	recycle_bins_to_json(survey, json);
	json_key(json, "found_files");
	found_files_to_json(survey, json);
	json_key(json, "findings");
	if (survey->findings) {
		findings_to_json(survey->findings, json);
	} else {
		json_begin_array(json);
		json_end(json);
	}
	json_end(json);
}
