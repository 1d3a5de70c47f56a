/*
 * Anchors: the folders at which areas start, from what the survey knows, and a few by their
 * structure.
 *
 * The deepest anchor above a folder decides about it; of several claims to one folder the order of
 * enum priority decides, then the order of the profile list.
 */
#include "plan/areas.h"

#include "base/utf.h"
#include "ntfs/reparse.h"

#include <string.h>

#define BIT(scope) ((uint8_t)(1u << (scope)))
#define PATH_LIMIT 1024 /* folders in one path */

/* --- looking around --- */

/* A real folder, not a link. */
static bool is_folder(const struct catalogue *catalogue, uint32_t node)
{
	const struct node *of = catalogue_node(catalogue, node);

	return of && (of->flags & NODE_FOLDER) &&
	       reparse_kind(of->reparse_tag) != REPARSE_KIND_LINK;
}

/* The folder called `name` in `folder`, or NONE. */
static uint32_t subfolder(const struct catalogue *catalogue, uint32_t folder, const char *name)
{
	uint32_t entry = catalogue_child(catalogue, folder, name);
	uint32_t node = entry == NONE ? NONE : catalogue->entries[entry].node;

	return node != NONE && is_folder(catalogue, node) ? node : NONE;
}

static bool has_extension(const char *name, const char *extension)
{
	const char *dot = strrchr(name, '.');

	return dot && utf_equal_fold(dot, extension);
}

/* Is there a program file in the folder itself? */
static bool holds_program(const struct catalogue *catalogue, uint32_t folder)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];

		if (has_extension(catalogue_name(catalogue, entry->name), ".exe") &&
		    !is_folder(catalogue, entry->node))
			return true;
	}
	return false;
}

/* --- the old system's folders, programs --- */

static struct area plain_area(uint8_t kind, uint8_t reason, const struct area *outside)
{
	struct area area = *outside;

	area.kind = kind;
	area.reason = reason;
	return area;
}

static void put_plain(struct layout *layout, size_t volume, uint32_t node, uint8_t kind,
    uint8_t reason, uint8_t scopes)
{
	const struct area *outside = &layout->areas[layout->root_areas[volume]];
	struct area area = plain_area(kind, reason, outside);
	uint8_t priority = PRIORITY_SYSTEM;

	if (node == NONE)
		return;
	area.is_top = kind == AREA_PROGRAM || kind == AREA_PROGRAM_DATA;
	if (kind == AREA_SERVICE || kind == AREA_OUTSIDE)
		priority = PRIORITY_TEMPLATE;
	anchor_put(
	    layout, (struct location){volume, node}, area_add(layout, area), priority, scopes);
}

/* Every installation has these in its folder of programs, whatever that is called in its language.
 */
static bool is_program_folder(const struct catalogue *catalogue, uint32_t node, const char *name)
{
	if (utf_equal_fold(name, "Program Files") || utf_starts_fold(name, "Program Files ("))
		return true;
	return subfolder(catalogue, node, "Windows NT") != NONE &&
	       (subfolder(catalogue, node, "Internet Explorer") != NONE ||
		   subfolder(catalogue, node, "Common Files") != NONE);
}

static bool is_windows_folder(const struct catalogue *catalogue, uint32_t node)
{
	uint32_t heart = subfolder(catalogue, node, "System32");

	return heart != NONE && subfolder(catalogue, heart, "drivers") != NONE &&
	       subfolder(catalogue, heart, "config") != NONE;
}

static void put_below_root(struct layout *layout, size_t volume, uint32_t root);

static void put_child_of_root(struct layout *layout, size_t volume,
    const struct catalogue *catalogue, uint32_t root, const struct entry *entry)
{
	const char *name = catalogue_name(catalogue, entry->name);
	uint32_t node = entry->node;

	if (!is_folder(catalogue, node) || node == NODE_ROOT)
		return;
	if (utf_equal_fold(name, "ProgramData"))
		put_plain(layout, volume, node, AREA_PROGRAM_DATA, REASON_PROGRAM,
		    BIT(SCOPE_PROGRAM_DATA));
	else if (is_program_folder(catalogue, node, name))
		put_plain(layout, volume, node, AREA_PROGRAM, REASON_PROGRAM, 0);
	else if (is_windows_folder(catalogue, node))
		put_plain(layout, volume, node, AREA_SYSTEM, REASON_SYSTEM, BIT(SCOPE_WINDOWS));
	else if (root == NODE_ROOT && utf_starts_fold(name, "Windows.old"))
		put_below_root(layout, volume, node);
	else if (holds_only_drivers(catalogue, node))
		put_plain(layout, volume, node, AREA_OUTSIDE, REASON_OFFERED, 0);
}

/* A volume's root, or a folder that stood for one in an older installation. */
static void put_below_root(struct layout *layout, size_t volume, uint32_t root)
{
	const struct catalogue *catalogue = plan_catalogue(layout->survey, volume);
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, root, &children);

	anchor_put(layout, (struct location){volume, root}, NONE, PRIORITY_NONE, BIT(SCOPE_ROOT));
	for (size_t i = 0; i < count; i++)
		put_child_of_root(
		    layout, volume, catalogue, root, &catalogue->entries[children[i]]);
}

static void put_volume(struct layout *layout, size_t volume)
{
	bool is_system = layout->survey->volumes[volume].is_system_partition;
	struct area area = {.kind = is_system ? AREA_SYSTEM : AREA_OUTSIDE,
	    .reason = is_system ? REASON_SYSTEM : REASON_OUTSIDE,
	    .taken_reason = REASON_OUTSIDE,
	    .is_asked = layout->asked == NULL,
	    .base = NODE_ROOT,
	    .settings = NONE};

	area.group = group_of_volume(layout->plan, volume);
	if (area.group == NONE)
		layout->no_memory = true;
	layout->root_areas[volume] = area_add(layout, area);
	if (!layout->no_memory)
		put_below_root(layout, volume, NODE_ROOT);
}

/* Is the folder above anything that somebody owns, or a root? */
static bool holds_anchor(const struct layout *layout, struct location folder)
{
	const struct catalogue *catalogue = plan_catalogue(layout->survey, folder.volume);

	for (size_t i = 1; i < layout->n_anchors; i++) {
		uint32_t node = layout->anchors[i].node;

		for (unsigned n = 0; n < PATH_LIMIT && layout->anchors[i].volume == folder.volume;
		     n++) {
			const struct node *of = catalogue_node(catalogue, node);

			if (node == folder.node)
				return true;
			if (!of || of->n_entries == 0 || node == NODE_ROOT)
				break;
			node = catalogue->entries[of->first_entry].parent;
		}
	}
	return false;
}

/* What lies around a folder: the area of the nearest anchor. */
static uint32_t area_around(const struct layout *layout, struct location folder)
{
	const struct catalogue *catalogue = plan_catalogue(layout->survey, folder.volume);
	uint32_t node = folder.node;

	for (unsigned n = 0; n < PATH_LIMIT && node != NODE_ROOT; n++) {
		const struct node *of = catalogue_node(catalogue, node);
		const struct anchor *anchor = layout_anchor(layout, folder.volume, node);

		if (anchor && anchor->area != NONE)
			return anchor->area;
		if (!of || of->n_entries == 0)
			break;
		node = catalogue->entries[of->first_entry].parent;
	}
	return layout->root_areas[folder.volume];
}

/*
 * Where a program says that it was installed, outside the usual folders. The record can be wrong,
 * so the folder must hold a program and nothing of anybody's.
 */
static void put_program(
    struct layout *layout, const struct old_system *system, const struct program *program)
{
	struct location at;
	uint32_t around;

	if (!program->folder || !*program->folder)
		return;
	at = survey_resolve(layout->survey, system, program->folder);
	if (at.volume >= layout->survey->n_volumes || at.node == NONE ||
	    !plan_catalogue(layout->survey, at.volume) || at.node == NODE_ROOT)
		return;
	if (!holds_program(plan_catalogue(layout->survey, at.volume), at.node) ||
	    holds_anchor(layout, at))
		return;
	around = area_around(layout, at);
	if (around == NONE || layout->areas[around].kind != AREA_OUTSIDE)
		return;
	put_plain(layout, at.volume, at.node, AREA_PROGRAM, REASON_PROGRAM, 0);
	/* The folder is the program's own, so its time counts. */
	around = layout_anchor(layout, at.volume, at.node)
		     ? layout_anchor(layout, at.volume, at.node)->area
		     : NONE;
	if (around != NONE) {
		const struct catalogue *catalogue = plan_catalogue(layout->survey, at.volume);

		layout->areas[around].is_top = false;
		layout->areas[around].since = catalogue->nodes[at.node].created;
	}
}

/* The folder with the games of a library, where nobody else claims it. */
static void put_library(struct layout *layout, const struct bulk *bulk)
{
	uint32_t around;

	if (bulk->program != SIZE_MAX || holds_anchor(layout, bulk->at))
		return;
	around = area_around(layout, bulk->at);
	if (around != NONE && layout->areas[around].kind == AREA_OUTSIDE)
		put_plain(layout, bulk->at.volume, bulk->at.node, AREA_PROGRAM, REASON_PROGRAM, 0);
}

/* --- persons --- */

static bool is_asked(const struct layout *layout, size_t system, size_t person)
{
	return !layout->asked || layout->asked[layout->first_person[system] + person];
}

/* An area of a person (SIZE_MAX: shared) with a group of its own. */
static uint32_t add_owned(struct layout *layout, size_t system, size_t person, struct area area,
    const char *place, const char *folder)
{
	area.group = group_of_place(layout->plan, system, person, place, folder);
	if (area.group == NONE)
		layout->no_memory = true;
	area.taken_reason = area.reason;
	area.is_asked = person == SIZE_MAX ? !layout->asked : is_asked(layout, system, person);
	return layout->no_memory ? NONE : area_add(layout, area);
}

static const char *person_words(const struct layout *layout, uint32_t group)
{
	const struct group *of = &layout->plan->groups[group];

	return of->person == SIZE_MAX ? "all persons"
				      : layout->survey->systems[of->system].persons[of->person].key;
}

/* One folder, two owners: it goes to the one that was there first, and the user should know. */
static void report_shared(
    struct layout *layout, uint32_t kept, uint32_t refused, const struct place *place)
{
	const struct area *first = &layout->areas[kept], *second = &layout->areas[refused];
	const struct group *a = &layout->plan->groups[first->group];
	const struct group *b = &layout->plan->groups[second->group];

	if (first->kind != AREA_PLACE || (a->system == b->system && a->person == b->person))
		return;
	findings_add(layout->findings, WEIGHT_NOTE, "place-of-several", place->path,
	    "Tell both persons where their files are.",
	    "%s is %s of %s and also %s of %s; it is archived once, under %s.", place->path,
	    a->place, person_words(layout, first->group), place->role,
	    person_words(layout, second->group), a->folder);
}

static void put_place(struct layout *layout, size_t system, size_t person, uint32_t settings,
    const struct place *place)
{
	struct area area = {.kind = person == SIZE_MAX ? AREA_SHARED : AREA_PLACE,
	    .reason = person == SIZE_MAX ? REASON_SHARED : REASON_PLACE,
	    .settings = settings};
	uint8_t priority = place->status == PLACE_HERE ? PRIORITY_PLACE : PRIORITY_MOVED;
	struct location at = place->at;
	uint32_t index, kept;

	/* Of a share there may be offline copies; they stand for the place. */
	if (at.volume >= layout->survey->n_volumes || at.node == NONE)
		at = place->offline;
	if (at.volume >= layout->survey->n_volumes || at.node == NONE ||
	    !plan_catalogue(layout->survey, at.volume))
		return;
	area.base = at.node;
	index = add_owned(layout, system, person, area, place->role, place->folder);
	if (index == NONE)
		return;
	if (person == SIZE_MAX)
		priority = PRIORITY_SHARED;
	kept = anchor_put(layout, at, index, priority, 0);
	if (kept != NONE)
		report_shared(layout, kept, index, place);
}

/* XP's folders of settings are called differently in every language: both hold "Microsoft"
 * somewhere. */
static bool is_old_settings_folder(const struct catalogue *catalogue, uint32_t folder)
{
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, folder, &children);

	if (subfolder(catalogue, folder, "Microsoft") != NONE)
		return true;
	if (subfolder(catalogue, folder, "Temp") == NONE)
		return false;
	for (size_t i = 0; i < count; i++) {
		uint32_t node = catalogue->entries[children[i]].node;

		if (is_folder(catalogue, node) && subfolder(catalogue, node, "Microsoft") != NONE)
			return true;
	}
	return false;
}

static void put_settings(struct layout *layout, struct location profile, uint32_t settings)
{
	const struct catalogue *catalogue = plan_catalogue(layout->survey, profile.volume);
	uint32_t node = subfolder(catalogue, profile.node, "AppData");
	const uint32_t *children;
	size_t count = catalogue_children(catalogue, profile.node, &children);

	if (node != NONE) {
		anchor_put(layout, (struct location){profile.volume, node}, settings,
		    PRIORITY_SETTINGS, 0);
		return;
	}
	for (size_t i = 0; i < count; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);

		if (is_folder(catalogue, entry->node) &&
		    (utf_equal_fold(name, "Application Data") ||
			utf_equal_fold(name, "Local Settings") ||
			is_old_settings_folder(catalogue, entry->node)))
			anchor_put(layout, (struct location){profile.volume, entry->node}, settings,
			    PRIORITY_SETTINGS, 0);
	}
}

/* A folder of settings that was moved: a group of its own, as its names may be in the usual one,
 * too. */
static void put_moved_settings(struct layout *layout, size_t s, size_t p, const struct place *place)
{
	struct area area = {.kind = AREA_SETTINGS, .reason = REASON_SETTINGS, .settings = NONE};
	struct location at = place->at.node == NONE ? place->offline : place->at;
	uint32_t index;

	if (at.volume >= layout->survey->n_volumes || at.node == NONE ||
	    !plan_catalogue(layout->survey, at.volume))
		return;
	area.base = at.node;
	index = add_owned(layout, s, p, area, place->role, place->folder);
	if (index == NONE)
		return;
	layout->areas[index].settings = index;
	anchor_put(layout, at, index, PRIORITY_SETTINGS, 0);
}

static void put_person(struct layout *layout, size_t s, size_t p)
{
	const struct person *person = &layout->survey->systems[s].persons[p];
	struct location profile = person->profile;
	struct area area = {.kind = AREA_SETTINGS,
	    .reason = REASON_SETTINGS,
	    .base = profile.node,
	    .settings = NONE};
	bool has_profile = profile.volume < layout->survey->n_volumes && profile.node != NONE &&
			   plan_catalogue(layout->survey, profile.volume);
	uint32_t settings = NONE, index;

	if (person->is_service) {
		if (has_profile)
			put_plain(layout, profile.volume, profile.node, AREA_SERVICE,
			    REASON_SERVICE_PROFILE, 0);
		return;
	}
	if (has_profile) {
		settings = add_owned(layout, s, p, area, "settings", "settings");
		area.kind = AREA_PROFILE;
		area.reason = REASON_PROFILE;
		area.settings = settings;
		index = add_owned(layout, s, p, area, "other", "other");
		if (settings == NONE || index == NONE)
			return;
		layout->areas[settings].settings = settings;
		anchor_put(layout, profile, index, PRIORITY_PROFILE, BIT(SCOPE_PROFILE));
		put_settings(layout, profile, settings);
	}
	for (size_t i = 0; i < person->n_settings; i++)
		put_moved_settings(layout, s, p, &person->settings[i]);
	for (size_t i = 0; i < person->n_places; i++)
		put_place(layout, s, p, settings, &person->places[i]);
}

/* --- what all persons share --- */

static void put_shared(struct layout *layout, size_t s)
{
	const struct old_system *system = &layout->survey->systems[s];
	struct location public = system->public_profile;
	struct area area = {
	    .kind = AREA_SHARED, .reason = REASON_SHARED, .base = public.node, .settings = NONE};
	const struct catalogue *catalogue;
	uint32_t node;

	for (size_t i = 0; i < system->n_shared; i++)
		put_place(layout, s, SIZE_MAX, NONE, &system->shared[i]);
	if (public.volume >= layout->survey->n_volumes || public.node == NONE)
		return;
	catalogue = plan_catalogue(layout->survey, public.volume);
	if (!catalogue)
		return;
	anchor_put(layout, public, add_owned(layout, s, SIZE_MAX, area, "other", "other"),
	    PRIORITY_SHARED, 0);
	/* XP keeps what is ProgramData later in the public profile. */
	node = subfolder(catalogue, public.node, "Application Data");
	if (node != NONE && subfolder(catalogue, node, "Microsoft") != NONE)
		put_plain(layout, public.volume, node, AREA_PROGRAM_DATA, REASON_PROGRAM,
		    BIT(SCOPE_PROGRAM_DATA));
}

static void put_system(struct layout *layout, size_t s)
{
	const struct old_system *system = &layout->survey->systems[s];
	struct location template = system->default_profile;

	put_plain(layout, system->volume, system->windows, AREA_SYSTEM, REASON_SYSTEM,
	    BIT(SCOPE_WINDOWS));
	put_below_root(layout, system->volume, system->container);
	for (size_t p = 0; p < system->n_persons && !layout->no_memory; p++)
		put_person(layout, s, p);
	if (!layout->no_memory)
		put_shared(layout, s);
	if (template.volume < layout->survey->n_volumes &&
	    plan_catalogue(layout->survey, template.volume) && !layout->no_memory)
		put_plain(layout, template.volume, template.node, AREA_SERVICE, REASON_SYSTEM, 0);
	if (!layout->no_memory)
		strays_put(layout, s);
}

void anchors_of_survey(struct layout *layout)
{
	const struct survey *survey = layout->survey;

	for (size_t v = 0; v < survey->n_volumes && !layout->no_memory; v++)
		if (plan_catalogue(survey, v))
			put_volume(layout, v);
	for (size_t s = 0; s < survey->n_systems && !layout->no_memory; s++)
		if (plan_catalogue(survey, survey->systems[s].volume))
			put_system(layout, s);
	if (!layout->no_memory)
		bins_put(layout);
	/* Programs last: they give way to everybody's folders. */
	for (size_t s = 0; s < survey->n_systems && !layout->no_memory; s++)
		for (size_t i = 0; i < survey->systems[s].n_programs && !layout->no_memory; i++)
			put_program(layout, &survey->systems[s], &survey->systems[s].programs[i]);
	for (size_t i = 0; i < survey->n_bulks && !layout->no_memory; i++)
		put_library(layout, &survey->bulks[i]);
}
