/* Ties as JSON, for accounts.json and the survey. Key order and names are stable. */
#include "base/json.h"
#include "system/inner.h"
#include "system/ties.h"

static void put_person(struct json *json, const struct old_system *system, size_t person)
{
	json_key_text(
	    json, "person", person < system->n_persons ? system->persons[person].key : NULL);
}

static void put_known(struct json *json, const char *key, const char *text)
{
	json_key_text(json, key, *text ? text : NULL);
}

static void begin(struct json *json, const char *key)
{
	json_key(json, key);
	json_begin_array(json);
}

static void sync_roots_to_json(const struct old_system *system, struct json *json)
{
	const struct ties *ties = system->ties;

	begin(json, "cloud_folders");
	for (size_t i = 0; ties && i < ties->n_sync_roots; i++) {
		const struct sync_root *root = &ties->sync_roots[i];
		const struct sum *sum = &root->sum;
		uint64_t n_only = sum->cloud_files - sum->part_files;

		json_begin_object(json);
		put_person(json, system, root->person);
		put_known(json, "address", root->address);
		put_known(json, "name", root->name);
		json_key_text(json, "path", root->path);
		json_key_text(json, "known_by", sync_source_name(root->from));
		json_key_bool(json, "attached", root->at.node != NONE);
		json_key_unsigned(json, "here_files", sum->files - sum->cloud_files);
		json_key_unsigned(json, "here_bytes", sum->bytes - sum->cloud_bytes);
		json_key_unsigned(json, "partly_files", sum->part_files);
		json_key_unsigned(json, "partly_bytes", sum->part_bytes);
		json_key_unsigned(json, "cloud_only_files", n_only);
		json_key_unsigned(json, "cloud_only_bytes", sum->cloud_bytes - sum->part_bytes);
		json_key_unsigned(json, "missing_bytes", sum->missing_bytes);
		json_end(json);
	}
	json_end(json);
}

static void cloud_drives_to_json(const struct old_system *system, struct json *json)
{
	const struct ties *ties = system->ties;

	begin(json, "cloud_drive_caches");
	for (size_t i = 0; ties && i < ties->n_cloud_drives; i++) {
		const struct cloud_drive *drive = &ties->cloud_drives[i];

		json_begin_object(json);
		put_person(json, system, drive->person);
		json_key_text(json, "path", drive->path);
		json_key_unsigned(json, "files", drive->sum.files);
		json_key_unsigned(json, "bytes", drive->sum.bytes);
		json_key_time(json, "newest", drive->newest);
		json_end(json);
	}
	json_end(json);
}

static void sign_ins_to_json(const struct old_system *system, struct json *json)
{
	const struct ties *ties = system->ties;

	begin(json, "sign_ins");
	for (size_t i = 0; ties && i < ties->n_sign_ins; i++) {
		const struct sign_in *row = &ties->sign_ins[i];

		json_begin_object(json);
		put_person(json, system, row->person);
		json_key_text(json, "address", row->address);
		json_key_text(json, "to", sign_in_name(row->kind));
		json_key_text(json, "words", sign_in_words(row->kind));
		json_end(json);
	}
	json_end(json);
}

static void managed_to_json(const struct old_system *system, struct json *json)
{
	const struct ties *ties = system->ties;

	json_key_bool(json, "managed", ties_is_managed(system));
	begin(json, "managed_by");
	for (size_t i = 0; ties && i < ties->n_managed; i++) {
		const struct managed_by *row = &ties->managed[i];

		json_begin_object(json);
		put_person(json, system, row->person);
		json_key_text(json, "how", management_name(row->how));
		json_key_text(json, "words", management_words(row->how));
		put_known(json, "name", row->name);
		put_known(json, "address", row->address);
		json_end(json);
	}
	json_end(json);
}

static void bound_to_json(const struct old_system *system, struct json *json)
{
	const struct ties *ties = system->ties;

	begin(json, "bound_to_pc");
	for (size_t i = 0; ties && i < ties->n_bound; i++) {
		const struct bound *bound = &ties->bound[i];

		json_begin_object(json);
		put_person(json, system, bound->person);
		json_key_text(json, "kind", bound_name(bound->kind));
		json_key_text(json, "words", bound_words(bound->kind));
		json_key_text(json, "path", bound->path);
		json_key_unsigned(json, "files", bound->files);
		json_end(json);
	}
	json_end(json);
}

void ties_to_json(const struct old_system *system, struct json *json)
{
	managed_to_json(system, json);
	sign_ins_to_json(system, json);
	sync_roots_to_json(system, json);
	cloud_drives_to_json(system, json);
	bound_to_json(system, json);
}

void accounts_to_json(const struct survey *survey, struct json *json)
{
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_systems; i++) {
		json_begin_object(json);
		json_key_text(json, "pc", survey->systems[i].key);
		ties_to_json(&survey->systems[i], json);
		json_end(json);
	}
	json_end(json);
}
