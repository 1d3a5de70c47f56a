/* Loading a hive and its transaction logs from a catalogue, and saying what had to be mended. */
#include "system/inner.h"

#include "base/text.h"
#include "ntfs/data.h"

#include <string.h>

#define HIVE_LIMIT ((size_t)1 << 30) /* bytes: twice what the old system allows for its largest */
#define N_LOGS 3

/* The bytes of a file in a folder; NULL when it is not there or cannot be had. */
static uint8_t *load_file(const struct catalogue *catalogue, uint32_t folder, const char *name,
    struct arena *arena, size_t *length, struct holes *holes)
{
	uint32_t entry = catalogue_child(catalogue, folder, name);
	const struct stream *stream;
	enum content content;

	*length = 0;
	if (entry == NONE)
		return NULL;
	stream = catalogue_stream(catalogue, catalogue->entries[entry].node, "");
	if (!stream || stream->size == 0)
		return NULL;
	content = data_content(catalogue, stream);
	if (content != CONTENT_READABLE && content != CONTENT_CLOUD_PART)
		return NULL;
	return data_load(catalogue, stream, HIVE_LIMIT, arena, length, holes);
}

/* Findings for what was found wrong; the hive is used all the same. */
static void report_health(
    struct learn *learn, const struct hive *hive, const char *words, const struct holes *holes)
{
	const struct hive_health *health = hive_health(hive);

	if (health->logs_applied > 0)
		findings_add(learn->findings, WEIGHT_NOTE, "hive-log-applied", learn->system->key,
		    "",
		    "The PC was switched off before it had finished writing the %s. What was "
		    "missing (%s "
		    "blocks) was added from the transaction logs, in memory only.",
		    words, text_count(health->pages_replaced).text);
	else if (health->was_dirty && health->logs_missing)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-log-missing",
		    learn->system->key, "Look whether folders and names are what you expect.",
		    "The PC was switched off before it had finished writing the %s, and no usable "
		    "transaction log is there. The last changes to it may be missing.",
		    words);
	if (holes->count > 0)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-damaged", learn->system->key,
		    "Compare the folders shown here with what the owner remembers.",
		    "The %s could not be read in full: %s are missing on the drive. What is left "
		    "is "
		    "used.",
		    words, text_size(holes_total(holes)).text);
	if (health->base_block_bad || health->truncated || health->root_lost || health->bad_keys ||
	    health->bad_values)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-damaged", learn->system->key,
		    "Compare the folders shown here with what the owner remembers.",
		    "The file with the %s is damaged:%s%s%s %s keys and %s values could not be "
		    "read, %s "
		    "keys were found by scanning.",
		    words, health->base_block_bad ? " its header is broken," : "",
		    health->truncated ? " its end is missing," : "",
		    health->root_lost ? " its root is lost," : "",
		    text_count(health->bad_keys).text, text_count(health->bad_values).text,
		    text_count(health->salvaged_keys).text);
}

static struct hive *open_with_logs(struct learn *learn, const struct catalogue *catalogue,
    uint32_t folder, const char *name, const char *words, struct arena *arena)
{
	static const char *const endings[N_LOGS] = {".LOG", ".LOG1", ".LOG2"};
	struct hive_log logs[N_LOGS] = {0};
	struct holes holes = {0}, log_holes[N_LOGS] = {0};
	struct error error = {0};
	struct hive *hive = NULL;
	size_t length, n_logs = 0;
	uint8_t *data = load_file(catalogue, folder, name, arena, &length, &holes);

	for (size_t i = 0; data && i < N_LOGS; i++) {
		char *log = arena_printf(arena, "%s%s", name, endings[i]);

		if (!log)
			continue;
		logs[n_logs].data =
		    load_file(catalogue, folder, log, arena, &logs[n_logs].length, &log_holes[i]);
		logs[n_logs].holes = &log_holes[i];
		if (logs[n_logs].data)
			n_logs++;
	}
	if (data)
		hive = hive_open(data, length, logs, n_logs, &error);
	if (hive)
		report_health(learn, hive, words, &holes);
	else if (data)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-damaged", learn->system->key,
		    "", "The %s cannot be used: %s.", words, error.text);
	holes_free(&holes);
	for (size_t i = 0; i < N_LOGS; i++)
		holes_free(&log_holes[i]);
	return hive;
}

struct hive *load_hive(
    struct learn *learn, size_t volume, uint32_t folder, const char *name, const char *words)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, volume);
	struct arena arena = {0};
	struct hive *hive;

	if (!catalogue || folder == NONE)
		return NULL;
	hive = open_with_logs(learn, catalogue, folder, name, words, &arena);
	arena_free(&arena);
	return hive;
}

struct hive *load_machine_hive(struct learn *learn, const char *name, const char *words)
{
	/* Where the old system keeps its own copies: Vista and later, XP, NT. */
	static const char *const backups[] = {
	    "System32\\config\\RegBack", "repair", "System32\\config\\repair"};
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	struct hive *hive = load_hive(learn, system->volume,
	    catalogue_lookup(catalogue, system->windows, "System32\\config"), name, words);

	for (size_t i = 0; !hive && i < sizeof(backups) / sizeof(backups[0]); i++) {
		hive = load_hive(learn, system->volume,
		    catalogue_lookup(catalogue, system->windows, backups[i]), name, words);
		if (hive)
			findings_add(learn->findings, WEIGHT_CAUTION, "hive-from-backup",
			    system->key,
			    "Newer accounts or moved folders may be missing from this survey.",
			    "The %s could not be used. The old system's own, older copy was read.",
			    words);
	}
	if (!hive)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-missing", system->key,
		    "Look through the list of persons and folders before the old drive is given "
		    "away.",
		    "The %s cannot be found or used. What can be told from the folders alone is "
		    "told.",
		    words);
	return hive;
}
