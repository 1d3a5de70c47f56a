/*
 * Loading a hive and its transaction logs from a catalogue, another copy where it does not tell
 * what is asked of it, and saying what had to be mended.
 */
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
	if (health->bytes_filled > 0)
		findings_add(learn->findings, WEIGHT_NOTE, "hive-mended-from-log",
		    learn->system->key, "",
		    "The %s could not be read in full; %s of what is missing still stood in the "
		    "transaction logs.",
		    words, text_size(health->bytes_filled).text);
	if (holes_total(holes) > health->bytes_filled)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-damaged", learn->system->key,
		    "Compare the folders shown here with what the owner remembers.",
		    "The %s could not be read in full: %s are missing on the drive. What is left "
		    "is used.",
		    words, text_size(holes_total(holes) - health->bytes_filled).text);
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
		hive = hive_open_holed(data, length, &holes, logs, n_logs, &error);
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

/* Without findings when `quiet`: a copy that is not used in the end is nobody's concern. */
static struct hive *load(struct learn *learn, size_t volume, uint32_t folder, const char *name,
    const char *words, bool quiet)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, volume);
	struct findings *findings = learn->findings;
	struct arena arena = {0};
	struct hive *hive;

	if (!catalogue || folder == NONE)
		return NULL;
	if (quiet)
		learn->findings = NULL;
	hive = open_with_logs(learn, catalogue, folder, name, words, &arena);
	learn->findings = findings;
	arena_free(&arena);
	return hive;
}

/* --- choosing among copies -------------------------------------------------------------------- */

/* What is asked of a hive and its copies. */
struct wanted {
	struct learn *learn;
	const char *words;
	const char *subject;
	const char *key;             /* that tells the main thing; NULL: the control set */
	const struct person *person; /* NULL: a hive of the machine */
};

static bool tells(const struct wanted *wanted, const struct hive *hive)
{
	if (!wanted->key)
		return current_control_set(hive) != HIVE_NO_CELL;
	return hive_find(hive, hive_root(hive), wanted->key) != HIVE_NO_CELL;
}

static bool is_others(const struct wanted *wanted, const struct hive *hive)
{
	return wanted->person && hive_names_other(wanted->learn, wanted->person, hive) != NULL;
}

static void say_copy(
    const struct wanted *wanted, const struct hive_copy *copy, const struct hive *hive)
{
	struct learn *learn = wanted->learn;
	struct filetime_text written = filetime_to_text(hive_last_written(hive));
	struct buf path = {0};

	catalogue_node_path(survey_catalogue(learn->survey, copy->volume), copy->folder, &path);
	findings_add(learn->findings, WEIGHT_CAUTION, "hive-from-backup", wanted->subject,
	    "Newer accounts or moved folders may be missing from this survey.",
	    "The %s could not be used. An older copy was read instead: %s\\%s%s%.10s.",
	    wanted->words, buf_text(&path), copy->name, *written.text ? ", last written on " : "",
	    written.text);
	buf_free(&path);
}

/*
 * `first` (may be NULL) or, when it does not tell what is asked of it, the first copy that does.
 * Where no copy does either, `first` is still better than nothing, and any copy than none.
 */
static struct hive *choose(const struct wanted *wanted, struct hive *first,
    const struct hive_copy *copies, size_t n_copies)
{
	struct learn *learn = wanted->learn;

	for (unsigned pass = 0; pass < (first ? 1 : 2); pass++)
		for (size_t i = 0; i < n_copies; i++) {
			const struct hive_copy *copy = &copies[i];
			struct hive *hive = load(
			    learn, copy->volume, copy->folder, copy->name, wanted->words, true);

			if (hive && !is_others(wanted, hive) && (pass > 0 || tells(wanted, hive))) {
				say_copy(wanted, copy, hive);
				hive_close(first);
				return hive;
			}
			hive_close(hive);
		}
	return first;
}

struct hive *load_machine_hive(struct learn *learn, const char *name, const char *words)
{
	static const char *const keys[][2] = {
	    {"SOFTWARE", KEY_NT "\\ProfileList"}, {"SAM", "SAM\\Domains\\Account"}};
	const struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	struct wanted wanted = {.learn = learn, .words = words, .subject = system->key};
	struct hive *hive = load(learn, system->volume,
	    catalogue_lookup(catalogue, system->windows, "System32\\config"), name, words, false);
	struct hive_copy copies[HIVE_COPIES_MAX];

	for (size_t i = 0; i < sizeof(keys) / sizeof(keys[0]); i++)
		if (strcmp(name, keys[i][0]) == 0)
			wanted.key = keys[i][1];
	if (!hive || !tells(&wanted, hive))
		hive = choose(&wanted, hive, copies, hive_copies_of_machine(learn, name, copies));
	if (!hive)
		findings_add(learn->findings, WEIGHT_CAUTION, "hive-missing", system->key,
		    "Look through the list of persons and folders before the old drive is given "
		    "away.",
		    "The %s cannot be found or used. What can be told from the folders alone is "
		    "told.",
		    words);
	return hive;
}

static void say_others(const struct wanted *wanted, const struct hive *hive, const char *name)
{
	const struct person *other = hive_names_other(wanted->learn, wanted->person, hive);

	findings_add(wanted->learn->findings, WEIGHT_CAUTION, "hive-of-another-person",
	    wanted->subject, "Ask the owner whether folders were moved elsewhere.",
	    "The %s are those of %s, so they are not used for %s.", wanted->words,
	    *other->account ? other->account : other->folder, name);
}

struct hive *load_person_hive(struct learn *learn, const struct person *person)
{
	const char *name = *person->account ? person->account : person->folder;
	struct wanted wanted = {.learn = learn,
	    .words = learn_text(learn, "settings of %s (NTUSER.DAT)", name),
	    .subject = person->folder,
	    .key = "Software\\" KEY_WINDOWS "\\Explorer\\User Shell Folders",
	    .person = person};
	struct hive *hive = load(
	    learn, person->profile.volume, person->profile.node, "NTUSER.DAT", wanted.words, false);
	struct hive_copy copies[HIVE_COPIES_MAX];

	if (hive && is_others(&wanted, hive)) {
		say_others(&wanted, hive, name);
		hive_close(hive);
		hive = NULL;
	}
	if (!hive || !tells(&wanted, hive))
		hive = choose(&wanted, hive, copies, hive_copies_of_person(learn, person, copies));
	return hive;
}

struct hive *load_classes_hive(struct learn *learn, const struct person *person)
{
	static const char *const folders[] = {"AppData\\Local\\Microsoft\\Windows",
	    "Local Settings\\Application Data\\Microsoft\\Windows" /* XP */};
	const struct catalogue *catalogue = survey_catalogue(learn->survey, person->profile.volume);
	struct hive *hive = NULL;

	if (!catalogue || person->profile.node == NONE)
		return NULL;
	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]) && !hive; i++)
		hive = load(learn, person->profile.volume,
		    catalogue_lookup(catalogue, person->profile.node, folders[i]), "UsrClass.dat",
		    "", true);
	return hive;
}

struct hive *load_class_hive(struct learn *learn, const struct person *person)
{
	struct location at =
	    settings_folder(learn->survey, person, "settings-local", "AppData\\Local");
	const struct catalogue *catalogue = survey_catalogue(learn->survey, at.volume);

	if (!catalogue || at.node == NONE)
		return NULL;
	return load(learn, at.volume, catalogue_lookup(catalogue, at.node, "Microsoft\\Windows"),
	    "UsrClass.dat", "", true);
}
