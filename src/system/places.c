/*
 * Where each place really is: from `User Shell Folders`, then `Shell Folders`, then the default.
 *
 * A place may lie in another folder, on another letter, behind a junction, in a cloud-sync folder,
 * on a share. Offline copies of shares: \Windows\CSC\v2.0.6\namespace\SERVER\SHARE (common
 * practice, no source).
 */
#include "system/inner.h"

#include "base/utf.h"
#include "ntfs/reparse.h"

#include <string.h>

#define KEY_SHELL KEY_WINDOWS "\\Explorer\\Shell Folders"
#define KEY_USER_SHELL KEY_WINDOWS "\\Explorer\\User Shell Folders"
#define OFFLINE_FOLDER "CSC\\v2.0.6\\namespace"
#define PARENT_LIMIT 512

/* Whose places are being learned: a person's, or those that all share. */
struct owner {
	const char *name;    /* for sentences */
	const char *subject; /* of findings */
	const char *base;    /* old path of the profile */
	struct location profile;
	const struct hive *hive; /* may be NULL */
	const char *prefix;      /* "Software\\" in a person's hive, "" in the machine's */
	const struct environment *environment;
	struct place *places;
	size_t n_places;
};

const char *place_status_name(enum place_status status)
{
	switch (status) {
	case PLACE_HERE:
		return "here";
	case PLACE_REDIRECTED:
		return "redirected";
	case PLACE_OTHER_VOLUME:
		return "other-volume";
	case PLACE_DRIVE_MISSING:
		return "drive-missing";
	case PLACE_SHARE:
		return "share";
	case PLACE_MISSING:
		break;
	}
	return "missing";
}

/* --- what the hives say --- */

/* The first value that is there among the role's names. */
static const char *find_value(
    struct learn *learn, const struct owner *owner, const struct place_role *role, const char *key)
{
	const char *path = learn_text(learn, "%s%s", owner->prefix, key);

	if (!owner->hive)
		return NULL;
	for (size_t i = 0; i < 3 && role->names[i]; i++) {
		char *value = learn_hive_text(
		    learn, owner->hive, hive_root(owner->hive), path, role->names[i]);

		if (value && *value)
			return value;
	}
	return NULL;
}

/* A letter that the person's hive connects to a network share becomes the share's path. */
static const char *through_network_letter(
    struct learn *learn, const struct owner *owner, const char *path)
{
	char *share, key[16];

	if (!owner->hive || !path[0] || path[1] != ':')
		return path;
	for (size_t i = 0; i < learn->system->n_letters; i++)
		if (learn->system->letters[i].letter == (char)utf_upcase((uint8_t)path[0]) &&
		    learn->system->letters[i].volume != SIZE_MAX)
			return path;
	memcpy(key, "Network\\?", 10);
	key[8] = path[0];
	share = learn_hive_text(learn, owner->hive, hive_root(owner->hive), key, "RemotePath");
	if (!share || !path_is_share(share))
		return path;
	return learn_text(learn, "%s%s", share, path + 2);
}

/* Backslashes only, none at the end. */
static const char *tidy(struct learn *learn, const char *path)
{
	char *text = arena_strdup(&learn->survey->arena, path);
	size_t length;

	if (!text) {
		learn->no_memory = true;
		return "";
	}
	for (char *c = text; *c; c++)
		if (*c == '/')
			*c = '\\';
	for (length = strlen(text); length > 3 && text[length - 1] == '\\'; length--)
		text[length - 1] = '\0';
	return text;
}

static const char *default_path(
    struct learn *learn, const struct owner *owner, const struct place_role *role)
{
	const char *below = learn->is_nt5 ? role->nt5_path : role->path;

	if (!below)
		return NULL;
	if (role->parent && !learn->is_nt5)
		for (size_t i = 0; i < owner->n_places; i++)
			if (strcmp(owner->places[i].role, role->parent) == 0)
				return learn_text(learn, "%s\\%s", owner->places[i].path, below);
	return learn_text(learn, "%s\\%s", owner->base, below);
}

/* Fills value, path and from. False when the old system has no such place. */
static bool learn_path(struct learn *learn, const struct owner *owner,
    const struct place_role *role, const char *otherwise, struct place *place)
{
	const char *unknown = NULL;
	char *path;

	place->from = "User Shell Folders";
	place->value = find_value(learn, owner, role, KEY_USER_SHELL);
	if (!place->value) {
		place->from = "Shell Folders";
		place->value = find_value(learn, owner, role, KEY_SHELL);
	}
	if (!place->value) {
		place->from = "default";
		place->path = otherwise;
		return otherwise != NULL;
	}
	path =
	    environment_expand(owner->environment, place->value, &learn->survey->arena, &unknown);
	if (!path) {
		learn->no_memory = true;
		return false;
	}
	if (unknown)
		findings_add(learn->findings, WEIGHT_CAUTION, "variable-unknown", owner->subject,
		    "Ask the owner where that folder was.",
		    "The folder %s of %s is said to be at %s, but nothing says what %%%s%% stands "
		    "for.",
		    place->folder, owner->name, place->value, unknown);
	place->path = tidy(learn, through_network_letter(learn, owner, path));
	return true;
}

/* --- where that is --- */

static bool same_location(struct location a, struct location b)
{
	return a.volume == b.volume && a.node == b.node;
}

/* Is the folder, or one that it lies in, kept by a cloud-sync client? */
static bool lies_in_cloud(const struct survey *survey, struct location at)
{
	const struct catalogue *catalogue = survey_catalogue(survey, at.volume);
	uint32_t number = at.node;

	for (unsigned i = 0; catalogue && i < PARENT_LIMIT && number != NODE_ROOT; i++) {
		const struct node *node = catalogue_node(catalogue, number);

		if (!node || node->n_entries == 0)
			return false;
		if (reparse_kind(node->reparse_tag) == REPARSE_KIND_CLOUD)
			return true;
		number = catalogue->entries[node->first_entry].parent;
	}
	return false;
}

/* The offline copy of "\\server\share\x" that the old system kept, if any. */
static struct location offline_copy(struct learn *learn, const char *path)
{
	struct old_system *system = learn->system;
	const struct catalogue *catalogue = survey_catalogue(learn->survey, system->volume);
	struct location at = {system->volume, NONE};
	uint32_t folder = catalogue_lookup(catalogue, system->windows, OFFLINE_FOLDER);

	path = path_without_prefix(path);
	if (utf_starts_fold(path, "UNC\\"))
		path += 4;
	while (*path == '\\')
		path++;
	if (folder != NONE)
		at.node = catalogue_lookup(catalogue, folder, path);
	return at.node == NONE ? NO_LOCATION : at;
}

/* The default folder itself, by names alone: what a redirection may have left behind. */
static struct location plain_default(
    struct learn *learn, const struct owner *owner, const struct place_role *role)
{
	const struct catalogue *catalogue = survey_catalogue(learn->survey, owner->profile.volume);
	const char *below = learn->is_nt5 ? role->nt5_path : role->path;
	struct location at = {owner->profile.volume, NONE};

	if (!catalogue || owner->profile.node == NONE || !below)
		return NO_LOCATION;
	if (role->parent && !learn->is_nt5) {
		for (size_t i = 0; i < n_place_roles; i++)
			if (strcmp(place_roles[i].role, role->parent) == 0)
				at.node = catalogue_lookup(
				    catalogue, owner->profile.node, place_roles[i].path);
		if (at.node != NONE)
			at.node = catalogue_lookup(catalogue, at.node, below);
	} else {
		at.node = catalogue_lookup(catalogue, owner->profile.node, below);
	}
	return at.node == NONE ? NO_LOCATION : at;
}

static bool is_link(const struct survey *survey, struct location at)
{
	const struct catalogue *catalogue = survey_catalogue(survey, at.volume);
	const struct node *node = catalogue ? catalogue_node(catalogue, at.node) : NULL;

	return node && reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK;
}

/*
 * In XP the names of these folders are in the old system's language ("Eigene Dateien"): a place is
 * where it usually is when it lies in the profile and the English name does not exist.
 */
static bool is_usual_in_its_language(struct learn *learn, const struct owner *owner,
    const struct place *place, struct location usual)
{
	size_t length = strlen(owner->base);

	return learn->is_nt5 && usual.node == NONE && utf_starts_fold(place->path, owner->base) &&
	       strlen(place->path) > length && place->path[length] == '\\';
}

static enum place_status status_of(const struct owner *owner, const struct resolved *resolved,
    struct location usual, bool is_usual)
{
	switch (resolved->reached) {
	case REACHED_DRIVE:
		return PLACE_DRIVE_MISSING;
	case REACHED_SHARE:
		return PLACE_SHARE;
	case REACHED_UNREAD:
	case REACHED_NOT:
		return PLACE_MISSING;
	case REACHED:
		break;
	}
	if (same_location(resolved->at, usual) ||
	    (is_usual && resolved->at.volume == owner->profile.volume))
		return PLACE_HERE;
	return resolved->at.volume == owner->profile.volume ? PLACE_REDIRECTED : PLACE_OTHER_VOLUME;
}

/* --- what to say --- */

static const char *missing_drive_advice(struct learn *learn, const char *path)
{
	for (size_t i = 0; i < learn->system->n_letters; i++)
		if (learn->system->letters[i].letter == (char)utf_upcase((uint8_t)path[0]))
			/* Nothing on a removable drive says which letter it had. */
			return learn_text(learn,
			    learn->system->letters[i].removable
				? "It was a removable drive (%s): if it still exists, attach it, "
				  "and look for the files under its own name."
				: "Attach that drive (%s) and run again.",
			    learn->system->letters[i].what);
	return "Attach that drive and run again.";
}

/* "E:", or the whole path where it does not begin with a letter. */
static const char *drive_words(struct learn *learn, const char *path)
{
	return path[0] && path[1] == ':' ? learn_text(learn, "%.2s", path) : path;
}

static void report_place(struct learn *learn, const struct owner *owner, const struct place *place,
    const struct resolved *resolved)
{
	const char *path = resolved->path ? resolved->path : place->path;

	switch (resolved->reached) {
	case REACHED:
		break;
	case REACHED_DRIVE:
		findings_add(learn->findings, WEIGHT_CAUTION, "place-drive-missing", owner->subject,
		    missing_drive_advice(learn, path),
		    "The folder %s of %s lies on %s, whose drive is not attached.", place->folder,
		    owner->name, drive_words(learn, path));
		break;
	case REACHED_SHARE:
		findings_add(learn->findings, WEIGHT_CAUTION, "place-share", owner->subject,
		    place->offline.node == NONE
			? "Copy that folder from the server itself."
			: "The offline copies that the old system kept are on this drive; copy the "
			  "rest from the server itself.",
		    "The folder %s of %s lies on the network share %s, not on this PC.",
		    place->folder, owner->name, path);
		break;
	case REACHED_UNREAD:
		findings_add(learn->findings, WEIGHT_LOSS, "place-not-read", owner->subject,
		    "See what is said about that volume.",
		    "The folder %s of %s lies on %s, a volume that cannot be read.", place->folder,
		    owner->name, drive_words(learn, path));
		break;
	case REACHED_NOT:
		/* An unknown variable at its start has been reported. */
		if (place->value && place->path[0] != '%')
			findings_add(learn->findings, WEIGHT_CAUTION, "place-missing",
			    owner->subject, "Ask the owner where that folder was.",
			    "The folder %s of %s should be at %s, but that is not there.",
			    place->folder, owner->name, place->path);
		break;
	}
}

/* A place that is where it always was, and not there, is nothing to report: many never existed. */
static bool is_worth_reporting(
    const struct place_role *role, const struct place *place, const char *usual_path, bool is_usual)
{
	if (place->status == PLACE_MISSING &&
	    (is_usual || (usual_path && utf_equal_fold(place->path, usual_path))))
		return false;
	return place->value || !role->parent;
}

static void learn_place(struct learn *learn, struct owner *owner, const struct place_role *role)
{
	struct place *place = &owner->places[owner->n_places];
	struct arena arena = {0};
	const char *usual_path = default_path(learn, owner, role);
	struct location usual = plain_default(learn, owner, role);
	struct resolved resolved;
	bool is_usual;

	*place = (struct place){.role = role->role, .folder = role->folder};
	place->at = place->leftover = place->offline = NO_LOCATION;
	if (!learn_path(learn, owner, role, usual_path, place))
		return;
	resolved = resolve_path(learn->survey, learn->system, place->path, &arena);
	/* A profile found by its folder alone may lie where no letter leads. */
	if (resolved.reached != REACHED && !place->value && usual.node != NONE &&
	    !is_link(learn->survey, usual)) {
		resolved.reached = REACHED;
		resolved.at = usual;
	}
	place->at = resolved.at;
	is_usual = is_usual_in_its_language(learn, owner, place, usual);
	place->status = status_of(owner, &resolved, usual, is_usual);
	place->in_cloud_folder = place->at.node != NONE && lies_in_cloud(learn->survey, place->at);
	if (place->status != PLACE_HERE && usual.node != NONE && !same_location(usual, place->at) &&
	    !is_link(learn->survey, usual))
		place->leftover = usual;
	if (place->status == PLACE_SHARE && resolved.path)
		place->offline = offline_copy(learn, resolved.path);
	if (is_worth_reporting(role, place, usual_path, is_usual))
		report_place(learn, owner, place, &resolved);
	owner->n_places++;
	arena_free(&arena);
}

/* A person who owns `n_places` places at most; owner.places is NULL when memory runs out. */
static struct owner person_as_owner(struct learn *learn, const struct person *person,
    const struct hive *hive, const struct environment *environment, size_t n_places)
{
	struct owner owner = {
	    .name = *person->account ? person->account : person->folder,
	    .subject = person->key,
	    .base = person->path,
	    .profile = person->profile,
	    .hive = hive,
	    .prefix = "Software\\",
	    .environment = environment,
	    .places = arena_array(&learn->survey->arena, n_places, sizeof(*owner.places)),
	};

	if (!owner.places)
		learn->no_memory = true;
	return owner;
}

void learn_settings(struct learn *learn, struct person *person, const struct hive *hive,
    struct environment *environment)
{
	static const char *const variables[] = {"APPDATA", "LOCALAPPDATA"};
	struct owner owner = person_as_owner(learn, person, hive, environment, n_settings_roles);

	for (size_t i = 0; i < n_settings_roles && owner.places && hive; i++) {
		size_t before = owner.n_places;
		const struct place *place = &owner.places[before];

		learn_place(learn, &owner, &settings_roles[i]);
		if (owner.n_places == before)
			continue;
		if (!place->value || place->status == PLACE_HERE ||
		    (place->status == PLACE_MISSING && utf_starts_fold(place->path, owner.base)))
			owner.n_places = before;
		else if (i < sizeof(variables) / sizeof(variables[0]) &&
			 !environment_set(
			     environment, &learn->survey->arena, variables[i], place->path))
			learn->no_memory = true;
	}
	person->settings = owner.places;
	person->n_settings = owner.n_places;
}

void learn_places(struct learn *learn, struct person *person, const struct hive *hive,
    const struct environment *environment)
{
	struct owner owner = person_as_owner(learn, person, hive, environment, n_place_roles);

	if (!owner.places)
		return;
	/* Without a profile there is nothing that a default could mean. */
	for (size_t i = 0; i < n_place_roles && (hive || person->profile.node != NONE); i++)
		learn_place(learn, &owner, &place_roles[i]);
	person->places = owner.places;
	person->n_places = owner.n_places;
}

void learn_shared_places(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct owner owner = {
	    .name = "all persons",
	    .subject = system->key,
	    .base = learn->public_path,
	    .profile = system->public_profile,
	    .hive = learn->software,
	    .prefix = "",
	    .environment = &learn->machine,
	    .places = arena_array(&learn->survey->arena, n_shared_roles, sizeof(*owner.places)),
	};

	if (!owner.places) {
		learn->no_memory = true;
		return;
	}
	for (size_t i = 0; i < n_shared_roles; i++)
		learn_place(learn, &owner, &shared_roles[i]);
	system->shared = owner.places;
	system->n_shared = owner.n_places;
}
