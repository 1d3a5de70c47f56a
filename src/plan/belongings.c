/*
 * What is recognised as which kind, and the sums: see belongings.h.
 *
 * What programs call their files: common practice, no source, but for the known folders
 * (KNOWNFOLDERID: SavedGames, Libraries) and the hive files ("Registry Hives").
 */
#include "plan/belongings.h"

#include "base/json.h"
#include "base/utf.h"
#include "plan/inner.h"

#include <stdlib.h>
#include <string.h>

#define PATH_LIMIT 1024 /* folders in one path */

static const struct {
	const char *name, *words;
} kinds[BELONGING_COUNT] = {
    [BELONGING_MAIL] = {"mail", "mail"},
    [BELONGING_ADDRESSES] = {"addresses", "address books"},
    [BELONGING_CALENDARS] = {"calendars", "calendars"},
    [BELONGING_SIGNATURES] = {"signatures", "signatures of letters"},
    [BELONGING_TEMPLATES] = {"templates", "templates of documents"},
    [BELONGING_DICTIONARIES] = {"dictionaries", "own words for spelling"},
    [BELONGING_NOTES] = {"notes", "notes"},
    [BELONGING_CONVERSATIONS] = {"conversations", "conversations"},
    [BELONGING_UNSAVED] = {"unsaved", "unsaved documents"},
    [BELONGING_BROWSERS] = {"browsers", "browser profiles"},
    [BELONGING_GAMES] = {"games", "saved games"},
    [BELONGING_PHOTO_LIBRARIES] = {"photo-libraries", "lists of photo programs"},
    [BELONGING_MUSIC_LIBRARIES] = {"music-libraries", "lists of music programs"},
    [BELONGING_BOOK_LIBRARIES] = {"book-libraries", "lists of book programs"},
    [BELONGING_PHONE_BACKUPS] = {"phone-backups", "backups of phones"},
    [BELONGING_SAFES] = {"safes", "password safes"},
    [BELONGING_CERTIFICATES] = {"certificates", "certificates with keys"},
    [BELONGING_CONNECTIONS] = {"connections", "connections to other PCs"},
    [BELONGING_LIBRARIES] = {"libraries", "library definitions"},
    [BELONGING_CLOUD_CACHES] = {"cloud-caches", "caches of drives in the cloud"},
    [BELONGING_REGISTRY] = {"registry", "settings in the registry"},
};

const char *belonging_name(enum belonging_kind kind)
{
	return kinds[kind].name;
}

const char *belonging_words(enum belonging_kind kind)
{
	return kinds[kind].words;
}

#define FILE(kind, pattern)                                                                        \
	{                                                                                          \
		SCOPE_ANY, RULE_FILE, pattern, BELONGING_##kind, "", 0, 0, false, false, NULL      \
	}
#define FOLDER(kind, pattern)                                                                      \
	{                                                                                          \
		SCOPE_ANY, RULE_FOLDER, pattern, BELONGING_##kind, "", 0, 0, false, false, NULL    \
	}
#define FOLDER_WITH(kind, pattern, holds)                                                          \
	{                                                                                          \
		SCOPE_ANY, RULE_FOLDER, pattern, BELONGING_##kind, "", 0, 0, false, false, holds   \
	}

/* clang-format off */
/* The first row that fits counts; what fits a file counts before what fits its folder. */
static const struct rule rows[] = {
    FILE(MAIL, "*.pst"), FILE(MAIL, "*.ost"), FILE(MAIL, "*.dbx"), FILE(MAIL, "*.mbx"),
    FILE(MAIL, "*.mbox"), FILE(MAIL, "*.eml"), FILE(MAIL, "*.emlx"), FILE(MAIL, "*.msf"),
    FOLDER(MAIL, "Profiles\\*\\Mail"), FOLDER(MAIL, "Profiles\\*\\ImapMail"),
    FOLDER(MAIL, "Microsoft\\Windows Mail"), FOLDER(MAIL, "Microsoft\\Windows Live Mail"),
    FOLDER(MAIL, "Microsoft\\Outlook Express"), FOLDER(MAIL, "INetCache\\Content.Outlook"),
    FOLDER(MAIL, "Temporary Internet Files\\Content.Outlook"),
    FILE(ADDRESSES, "*.wab"), FILE(ADDRESSES, "*.contact"), FILE(ADDRESSES, "*.vcf"),
    FILE(ADDRESSES, "*.nk2"), FILE(ADDRESSES, "*.pab"), FILE(ADDRESSES, "abook*.mab"),
    FILE(ADDRESSES, "abook*.sqlite"), FILE(ADDRESSES, "Stream_Autocomplete_*.dat"),
    FILE(CALENDARS, "*.ics"),
    FOLDER(SIGNATURES, "Microsoft\\Signatures"),
    FILE(TEMPLATES, "*.dot"), FILE(TEMPLATES, "*.dotx"), FILE(TEMPLATES, "*.dotm"),
    FILE(TEMPLATES, "*.xlt"), FILE(TEMPLATES, "*.xltx"), FILE(TEMPLATES, "*.xltm"),
    FILE(TEMPLATES, "*.pot"), FILE(TEMPLATES, "*.potx"), FILE(TEMPLATES, "*.potm"),
    FILE(TEMPLATES, "*.oft"), FILE(TEMPLATES, "*.ott"), FILE(TEMPLATES, "*.ots"),
    FILE(DICTIONARIES, "*.dic"), FILE(DICTIONARIES, "MSO*.acl"),
    FILE(DICTIONARIES, "persdict.dat"), FILE(DICTIONARIES, "Custom Dictionary.txt"),
    FOLDER(DICTIONARIES, "Microsoft\\UProof"), FOLDER(DICTIONARIES, "Microsoft\\Spelling"),
    FILE(NOTES, "*.snt"), FILE(NOTES, "plum.sqlite*"), FILE(NOTES, "*.one"),
    FILE(NOTES, "*.onetoc2"), FILE(NOTES, "*.enex"), FILE(NOTES, "notes.sqlite*"),
    FOLDER(CONVERSATIONS, ".purple\\logs"), FOLDER(CONVERSATIONS, "mIRC\\logs"),
    FOLDER(CONVERSATIONS, "HexChat\\logs"), FOLDER(CONVERSATIONS, "users\\*\\logs"),
    FILE(UNSAVED, "*.asd"), FILE(UNSAVED, "*.wbk"), FILE(UNSAVED, "~WR*.tmp"),
    FOLDER(UNSAVED, "AutoRecover*"), FOLDER(UNSAVED, "AutoSave*"),
    FOLDER(UNSAVED, "UnsavedFiles"), FOLDER(UNSAVED, "TabState"),
    FILE(PHOTO_LIBRARIES, "*.lrcat"), FILE(PHOTO_LIBRARIES, "digikam*.db"),
    FILE(PHOTO_LIBRARIES, "MediaDb.v1.sqlite*"), FILE(PHOTO_LIBRARIES, "*.pd6"),
    FOLDER(PHOTO_LIBRARIES, "Picasa2\\db3"),
    FILE(MUSIC_LIBRARIES, "*.itl"), FILE(MUSIC_LIBRARIES, "*.wmdb"),
    FILE(MUSIC_LIBRARIES, "*.wpl"), FILE(MUSIC_LIBRARIES, "*.m3u"),
    FILE(MUSIC_LIBRARIES, "*.m3u8"), FILE(MUSIC_LIBRARIES, "*.pls"),
    FILE(MUSIC_LIBRARIES, "iTunes*Library.xml"),
    FILE(BOOK_LIBRARIES, "metadata.db"), FILE(BOOK_LIBRARIES, "BookLibrary*"),
    FOLDER(PHONE_BACKUPS, "MobileSync\\Backup"),
    FOLDER_WITH(PHONE_BACKUPS, "*", "Manifest.mbdb"),
    FILE(PHONE_BACKUPS, "*.nbu"), FILE(PHONE_BACKUPS, "*.nbf"), FILE(PHONE_BACKUPS, "*.ipd"),
    FILE(PHONE_BACKUPS, "*.bbb"),
    FILE(SAFES, "*.kdbx"), FILE(SAFES, "*.kdb"), FILE(SAFES, "*.psafe3"),
    FILE(CERTIFICATES, "*.pfx"), FILE(CERTIFICATES, "*.p12"),
    FILE(CONNECTIONS, "*.rdp"), FILE(CONNECTIONS, "*.pbk"), FILE(CONNECTIONS, "*.ovpn"),
    FILE(LIBRARIES, "*.library-ms"), FILE(LIBRARIES, "*.search-ms"),
    FOLDER_WITH(CLOUD_CACHES, "*", "content_cache"),
    FILE(REGISTRY, "NTUSER.DAT*"), FILE(REGISTRY, "UsrClass.dat*"), FILE(REGISTRY, "NTUSER.MAN"),
    FOLDER(GAMES, "Saved Games"), FOLDER(GAMES, "My Games"), FOLDER(GAMES, "Savegame*"),
    FOLDER(GAMES, "SavedGames"), FOLDER(GAMES, "Saves"),
    FOLDER(GAMES, "userdata\\*\\*\\remote"), FILE(GAMES, "*.sav"),
    FOLDER_WITH(BROWSERS, "*", "places.sqlite"), FOLDER_WITH(BROWSERS, "*", "Login Data"),
    FOLDER(BROWSERS, "AC\\*\\User\\Default\\DataStore"),
};
/* clang-format on */
#define N_ROWS (sizeof(rows) / sizeof(rows[0]))

struct search {
	const struct plan *plan;
	struct belongings *belongings;
	struct arena arena;
	struct layout layout; /* only what looking up a name needs */
	struct area area;
	struct rule_index rules;
	uint8_t **folders; /* by volume and node: enum mark, or MARK_KIND + kind */
};

enum mark { MARK_UNKNOWN, MARK_NONE, MARK_KIND };

/* The kind of a name alone; BELONGING_COUNT: none. */
static enum belonging_kind kind_of_name(
    const struct search *search, enum rule_kind rule_kind, size_t volume, const struct entry *entry)
{
	const struct catalogue *catalogue = plan_catalogue(search->plan->survey, volume);
	struct question question = {.layout = &search->layout,
	    .volume = volume,
	    .node = entry->node,
	    .parent = entry->parent,
	    .name = catalogue_name(catalogue, entry->name),
	    .area = &search->area};
	const struct rule *rule;

	question.hash = utf_hash_fold(question.name);
	rule = rules_find(&search->rules, rule_kind, &question);
	return rule ? (enum belonging_kind)rule->reason : BELONGING_COUNT;
}

/* What a folder is, by itself or by what it lies in. */
static uint8_t mark_of_folder(const struct search *search, size_t volume, uint32_t folder)
{
	const struct catalogue *catalogue = plan_catalogue(search->plan->survey, volume);
	uint8_t *marks = search->folders[volume];
	uint32_t way[PATH_LIMIT];
	uint8_t mark = MARK_NONE;
	size_t depth = 0;

	while (depth < PATH_LIMIT && folder < catalogue->n_nodes && folder != NODE_ROOT &&
	       marks[folder] == MARK_UNKNOWN) {
		const struct node *node = catalogue_node(catalogue, folder);

		if (!node || node->n_entries == 0)
			break;
		way[depth++] = folder;
		folder = catalogue->entries[node->first_entry].parent;
	}
	if (folder < catalogue->n_nodes && marks[folder] != MARK_UNKNOWN)
		mark = marks[folder];
	while (depth > 0) {
		const struct node *node = &catalogue->nodes[way[--depth]];
		enum belonging_kind kind = kind_of_name(
		    search, RULE_FOLDER, volume, &catalogue->entries[node->first_entry]);

		if (kind != BELONGING_COUNT)
			mark = (uint8_t)(MARK_KIND + kind);
		marks[way[depth]] = mark;
	}
	return mark;
}

/* The topmost folder of the same mark; of a file that is known by its own name, its folder. */
static uint32_t top_folder(
    const struct search *search, size_t volume, uint32_t folder, enum belonging_kind kind)
{
	const struct catalogue *catalogue = plan_catalogue(search->plan->survey, volume);
	uint8_t mark = (uint8_t)(MARK_KIND + kind);

	for (unsigned i = 0; i < PATH_LIMIT; i++) {
		const struct node *node = catalogue_node(catalogue, folder);
		uint32_t parent;

		if (!node || node->n_entries == 0 || folder == NODE_ROOT)
			break;
		parent = catalogue->entries[node->first_entry].parent;
		if (mark_of_folder(search, volume, folder) != mark ||
		    mark_of_folder(search, volume, parent) != mark)
			break;
		folder = parent;
	}
	return folder;
}

static struct belonging *find_belonging(
    struct belongings *belongings, size_t system, size_t person, enum belonging_kind kind)
{
	struct belonging *found;

	for (size_t i = 0; i < belongings->count; i++) {
		found = &belongings->items[i];
		if (found->system == system && found->person == person && found->kind == kind)
			return found;
	}
	if (!array_reserve(&belongings->items, &belongings->capacity, belongings->count + 1,
		sizeof(*belongings->items)))
		return NULL;
	found = &belongings->items[belongings->count++];
	*found = (struct belonging){.system = system, .person = person, .kind = (uint8_t)kind};
	return found;
}

/* Adds to a folder's sum, and keeps the largest in front; those that come late find no room. */
static void add_folder(struct belonging *belonging, uint32_t volume, uint32_t node, uint64_t bytes)
{
	size_t at = 0;

	while (at < belonging->n_folders &&
	       (belonging->folders[at].volume != volume || belonging->folders[at].node != node))
		at++;
	if (at == BELONGING_FOLDERS) {
		belonging->has_more_folders = true;
		return;
	}
	if (at == belonging->n_folders) {
		belonging->folders[at].volume = volume;
		belonging->folders[at].node = node;
		belonging->folders[at].bytes = 0;
		belonging->n_folders++;
	}
	belonging->folders[at].bytes += bytes;
	for (; at > 0 && belonging->folders[at].bytes > belonging->folders[at - 1].bytes; at--) {
		__typeof__(belonging->folders[0]) moved = belonging->folders[at];

		belonging->folders[at] = belonging->folders[at - 1];
		belonging->folders[at - 1] = moved;
	}
}

/* Left things that could be taken all the same. */
static bool is_open(const struct item *item)
{
	return item->state == STATE_LEFT &&
	       (item->reason == REASON_OFFERED || item->reason == REASON_PASSWORDS ||
		   item->reason == REASON_NOT_ASKED);
}

static bool add_item(struct search *search, const struct item *item)
{
	const struct plan *plan = search->plan;
	const struct catalogue *catalogue = plan_catalogue(plan->survey, item->volume);
	const struct entry *entry = &catalogue->entries[item->entry];
	const struct group *group = item->group == NONE ? NULL : &plan->groups[item->group];
	enum belonging_kind kind = kind_of_name(search, RULE_FILE, item->volume, entry);
	struct belonging *belonging;
	uint64_t bytes;

	if (kind == BELONGING_COUNT) {
		uint8_t mark = mark_of_folder(search, item->volume, entry->parent);

		if (mark < MARK_KIND)
			return true;
		kind = (enum belonging_kind)(mark - MARK_KIND);
	}
	belonging = find_belonging(search->belongings, group ? group->system : SIZE_MAX,
	    group ? group->person : SIZE_MAX, kind);
	if (!belonging)
		return false;
	bytes = catalogue->streams[item->stream].size;
	if (item->state == STATE_LEFT) {
		belonging->left_files++;
		belonging->left_bytes += bytes;
	} else {
		belonging->files++;
		belonging->bytes += bytes;
	}
	add_folder(
	    belonging, item->volume, top_folder(search, item->volume, entry->parent, kind), bytes);
	return true;
}

static int by_owner(const void *a, const void *b)
{
	const struct belonging *one = a, *other = b;

	if (one->system != other->system)
		return one->system < other->system ? -1 : 1;
	if (one->person != other->person)
		return one->person < other->person ? -1 : 1;
	return one->kind - other->kind;
}

static bool prepare(struct search *search)
{
	const struct survey *survey = search->plan->survey;

	search->layout.survey = survey;
	search->area = (struct area){.kind = AREA_PROFILE, .reason = REASON_PROFILE};
	search->folders =
	    arena_array(&search->arena, survey->n_volumes + 1, sizeof(*search->folders));
	if (!search->folders || !rules_compile(&search->rules, rows, N_ROWS, &search->arena))
		return false;
	for (size_t v = 0; v < survey->n_volumes; v++) {
		const struct catalogue *catalogue = plan_catalogue(survey, v);

		if (!catalogue)
			continue;
		search->folders[v] = arena_alloc(&search->arena, catalogue->n_nodes + 1);
		if (!search->folders[v])
			return false;
	}
	return true;
}

bool belongings_find(struct belongings *belongings, const struct plan *plan)
{
	struct search search = {.plan = plan, .belongings = belongings};
	bool good;

	*belongings = (struct belongings){0};
	good = prepare(&search);
	for (size_t i = 0; good && i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (item->kind == ITEM_FILE && item->stream != NONE &&
		    (item->state != STATE_LEFT || is_open(item)))
			good = add_item(&search, item);
	}
	if (belongings->count > 0)
		qsort(belongings->items, belongings->count, sizeof(*belongings->items), by_owner);
	arena_free(&search.arena);
	return good;
}

void belongings_free(struct belongings *belongings)
{
	free(belongings->items);
	*belongings = (struct belongings){0};
}

/* --- JSON --- */

static void folders_to_json(
    const struct belonging *belonging, const struct survey *survey, struct json *json)
{
	json_key(json, "folders");
	json_begin_array(json);
	for (size_t i = 0; i < belonging->n_folders; i++) {
		size_t volume = belonging->folders[i].volume;
		struct buf path = {0};

		buf_add_text(&path, survey->volumes[volume].name);
		catalogue_node_path(
		    plan_catalogue(survey, volume), belonging->folders[i].node, &path);
		json_text(json, buf_text(&path));
		buf_free(&path);
	}
	json_end(json);
	json_key_bool(json, "more_folders", belonging->has_more_folders);
}

void belongings_to_json(
    const struct belongings *belongings, const struct plan *plan, struct json *json)
{
	const struct survey *survey = plan->survey;

	json_begin_array(json);
	for (size_t i = 0; i < belongings->count; i++) {
		const struct belonging *belonging = &belongings->items[i];

		json_begin_object(json);
		if (belonging->system < survey->n_systems)
			json_key_text(json, "pc", survey->systems[belonging->system].key);
		if (belonging->system < survey->n_systems &&
		    belonging->person < survey->systems[belonging->system].n_persons)
			json_key_text(json, "person",
			    survey->systems[belonging->system].persons[belonging->person].key);
		json_key_text(json, "kind", belonging_name((enum belonging_kind)belonging->kind));
		json_key_text(json, "words", belonging_words((enum belonging_kind)belonging->kind));
		json_key_unsigned(json, "files", belonging->files);
		json_key_unsigned(json, "bytes", belonging->bytes);
		json_key_unsigned(json, "left_files", belonging->left_files);
		json_key_unsigned(json, "left_bytes", belonging->left_bytes);
		folders_to_json(belonging, survey, json);
		json_end(json);
	}
	json_end(json);
}
