/* Programs as JSON: in the survey for one old system, in programs.json for all of them. */
#include "base/json.h"
#include "system/bulk_data.h"
#include "system/inner.h"
#include "system/traces.h"

/* What each source of traces says, and which shortcuts there are. */
static void use_to_json(struct json *json, const struct program *program)
{
	static const struct {
		enum shortcut_kind kind;
		const char *name;
	} shortcuts[] = {{SHORTCUT_PINNED, "pinned"}, {SHORTCUT_DESKTOP, "desktop"},
	    {SHORTCUT_MENU, "start-menu"}};

	json_key(json, "traces");
	json_begin_array(json);
	for (unsigned source = 0; source < TRACE_SOURCES; source++) {
		if (program->uses[source].last <= 0)
			continue;
		json_begin_object(json);
		json_key_text(json, "source", trace_source_name((enum trace_source)source));
		json_key_time(json, "last", program->uses[source].last);
		json_key_unsigned(json, "count", program->uses[source].count);
		json_end(json);
	}
	json_end(json);
	json_key(json, "shortcuts");
	json_begin_array(json);
	for (size_t i = 0; i < sizeof(shortcuts) / sizeof(shortcuts[0]); i++)
		if (program->shortcuts & shortcuts[i].kind)
			json_text(json, shortcuts[i].name);
	json_end(json);
}

/* Those of one program (SIZE_MAX: of none that is known): where, never what it says. */
static void licences_to_json(
    const struct old_system *system, struct json *json, size_t program, bool with_system)
{
	for (size_t i = 0; i < system->n_licences; i++) {
		const struct program_licence *licence = &system->licences[i];

		if (licence->program != program)
			continue;
		json_begin_object(json);
		if (with_system)
			json_key_text(json, "pc", system->key);
		json_key_text(json, "person",
		    licence->person < system->n_persons ? system->persons[licence->person].key
							: NULL);
		json_key_text(json, "kind", licence->is_value ? "value" : "file");
		json_key_text(json, "where", licence->where);
		json_end(json);
	}
}

/* The pattern for --take, and how much it brings. */
static void offer_to_json(struct json *json, const struct bulk *bulk)
{
	struct buf pattern = {0};

	json_key(json, "offer");
	if (!bulk) {
		json_put_null(json);
		return;
	}
	buf_printf(&pattern, "%s\\**", bulk->path);
	json_begin_object(json);
	json_key_text(json, "take", buf_text(&pattern));
	json_key_unsigned(json, "bytes", bulk->bytes);
	json_end(json);
	buf_free(&pattern);
}

static void program_to_json(const struct survey *survey, const struct old_system *system,
    struct json *json, const struct program *program)
{
	static const char *const origins[] = {[PROGRAM_RECORD] = "record",
	    [PROGRAM_STORE_APP] = "store-app", [PROGRAM_PORTABLE] = "portable"};

	static const char *const name_sources[] = {[NAME_FROM_RECORD] = "record",
	    [NAME_FROM_FILE] = "file",
	    [NAME_FROM_HIVE] = "registry",
	    [NAME_FROM_MANIFEST] = "manifest",
	    [NAME_FROM_PACKAGE] = "package"};

	json_begin_object(json);
	json_key_text(json, "pc", system->key);
	json_key_text(json, "person",
	    program->person < system->n_persons ? system->persons[program->person].key : NULL);
	json_key_text(json, "name", program->name);
	json_key_text(json, "name_from", name_sources[program->name_from]);
	json_key_text(json, "publisher", program->publisher);
	json_key_text(json, "version", program->version);
	json_key_text(json, "installed", program->installed);
	json_key_unsigned(json, "size", program->size);
	json_key_text(json, "folder", program->folder);
	json_key_text(json, "web_page", program->web_page);
	json_key_bool(json, "is_32_bit", program->is_32_bit);
	json_key_bool(json, "component", program->is_component);
	json_key_bool(json, "update", program->is_update);
	json_key_text(json, "key", program->key);
	json_key_text(json, "origin", origins[program->origin]);
	json_key_text(json, "place", program->place);
	json_key_text(json, "kind", program_kind_name(program->kind));
	json_key_text(json, "why", program->why);
	json_key_time(json, "last_seen", program->last_seen);
	json_key_unsigned(json, "starts", program->starts);
	json_key_text(json, "seen_by",
	    program->last_seen > 0 ? trace_source_name(program->seen_by) : NULL);
	use_to_json(json, program);
	json_key_text(json, "installer", program->installer);
	json_key_text(json, "installer_version", program->installer_version);
	json_key_unsigned(json, "bytes_on_drive", program->bytes_on_drive);
	offer_to_json(json, program_bulk(survey, system, program));
	json_key(json, "licence");
	json_begin_array(json);
	licences_to_json(system, json, (size_t)(program - system->programs), false);
	json_end(json);
	json_end(json);
}

static void library_to_json(struct json *json, const struct bulk *bulk)
{
	json_begin_object(json);
	json_key_text(json, "path", bulk->path);
	json_key_unsigned(json, "games", bulk->n_games);
	offer_to_json(json, bulk);
	json_end(json);
}

static void driver_to_json(
    const struct old_system *system, struct json *json, const struct driver_package *driver)
{
	json_begin_object(json);
	json_key_text(json, "pc", system->key);
	json_key_text(json, "device", driver->is_scanner ? "scanner" : "printer");
	json_key_text(json, "provider", driver->provider);
	json_key_text(json, "version", driver->version);
	json_key_text(json, "folder", driver->folder);
	json_key_unsigned(json, "bits", driver->bits);
	json_key_unsigned(json, "bytes", driver->bytes);
	json_end(json);
}

void programs_keys_to_json(const struct survey *survey, const struct old_system *systems,
    size_t n_systems, struct json *json)
{
	json_key(json, "programs");
	json_begin_array(json);
	for (size_t s = 0; s < n_systems; s++)
		for (size_t i = 0; i < systems[s].n_programs; i++)
			program_to_json(survey, &systems[s], json, &systems[s].programs[i]);
	json_end(json);
	json_key(json, "other_licences");
	json_begin_array(json);
	for (size_t s = 0; s < n_systems; s++)
		licences_to_json(&systems[s], json, SIZE_MAX, true);
	json_end(json);
	json_key(json, "game_libraries");
	json_begin_array(json);
	for (size_t i = 0; i < survey->n_bulks; i++)
		if (survey->bulks[i].program == SIZE_MAX &&
		    &survey->systems[survey->bulks[i].system] >= systems &&
		    &survey->systems[survey->bulks[i].system] < systems + n_systems)
			library_to_json(json, &survey->bulks[i]);
	json_end(json);
	json_key(json, "driver_packages");
	json_begin_array(json);
	for (size_t s = 0; s < n_systems; s++)
		for (size_t i = 0; i < systems[s].n_drivers; i++)
			driver_to_json(&systems[s], json, &systems[s].drivers[i]);
	json_end(json);
}

void programs_to_json(const struct survey *survey, struct json *json)
{
	json_begin_object(json);
	programs_keys_to_json(survey, survey->systems, survey->n_systems, json);
	json_end(json);
}
