/*
 * Stray files: a person's own in a profile that is nobody's. Services and scheduled tasks run under
 * the system's own account save where that account has its desktop and documents, and whoever sets
 * up a PC puts files into the profile that new ones are made of.
 *
 * What lies in such folders is offered; documents changed shortly before the last use of the PC are
 * taken. The rest of these profiles is the old system's.
 */
#include "plan/areas.h"

#include "base/filetime.h"
#include "base/utf.h"
#include "ntfs/reparse.h"
#include "system/recycle_bin.h"

#include <string.h>

#define RECENT (INT64_C(86400) * FILETIME_PER_SECOND * RECYCLE_RECENT_DAYS)

/* Profiles below the Windows folder, and what they are called in the archive. */
static const struct {
	const char *path, *name;
} profiles[] = {{"System32\\config\\systemprofile", "system-profile"},
    {"SysWOW64\\config\\systemprofile", "system-profile-32"},
    {"ServiceProfiles\\LocalService", "local-service"},
    {"ServiceProfiles\\NetworkService", "network-service"}};

static const char *const folders[] = {
    "Desktop", "Documents", "My Documents", "Downloads", "Pictures", "Music", "Videos"};

static void put_folder(struct layout *layout, size_t system, struct location profile,
    uint8_t reason, const char *folder, uint32_t *group, const char *name)
{
	const struct catalogue *catalogue = plan_catalogue(layout->survey, profile.volume);
	uint32_t entry = catalogue_child(catalogue, profile.node, folder);
	const struct node *node =
	    entry == NONE ? NULL : catalogue_node(catalogue, catalogue->entries[entry].node);
	struct area area = {.kind = AREA_STRAY,
	    .reason = reason,
	    .taken_reason = REASON_OUTSIDE,
	    .is_whole = true,
	    .is_asked = !layout->asked,
	    .base = profile.node,
	    .settings = NONE};

	if (!node || !(node->flags & NODE_FOLDER) ||
	    reparse_kind(node->reparse_tag) == REPARSE_KIND_LINK)
		return;
	if (*group == NONE)
		*group = group_of_place(layout->plan, system, SIZE_MAX, name, name);
	area.group = *group;
	if (*group == NONE)
		layout->no_memory = true;
	else
		anchor_put(layout,
		    (struct location){profile.volume, catalogue->entries[entry].node},
		    area_add(layout, area), PRIORITY_TEMPLATE, 0);
}

static void put_profile(
    struct layout *layout, size_t system, struct location profile, uint8_t reason, const char *name)
{
	uint32_t group = NONE;

	if (profile.volume >= layout->survey->n_volumes || profile.node == NONE ||
	    !plan_catalogue(layout->survey, profile.volume))
		return;
	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]) && !layout->no_memory; i++)
		put_folder(layout, system, profile, reason, folders[i], &group, name);
}

void strays_put(struct layout *layout, size_t system)
{
	const struct old_system *of = &layout->survey->systems[system];
	const struct catalogue *catalogue = plan_catalogue(layout->survey, of->volume);

	for (size_t i = 0; i < sizeof(profiles) / sizeof(profiles[0]); i++)
		put_profile(layout, system,
		    (struct location){
			of->volume, catalogue_lookup(catalogue, of->windows, profiles[i].path)},
		    REASON_SERVICE_PROFILE, profiles[i].name);
	put_profile(layout, system, of->default_profile, REASON_SYSTEM, "default-profile");
}

uint8_t strays_reason(
    const struct layout *layout, const struct area *area, const char *name, const struct node *node)
{
	const struct group *group = &layout->plan->groups[area->group];
	int64_t last_used = layout->survey->systems[group->system].last_used;
	const char *dot = strrchr(name, '.');

	if (utf_equal_fold(name, "desktop.ini") || (dot && utf_equal_fold(dot, ".lnk")))
		return area->reason;
	return last_used > RECENT && node->modified >= last_used - RECENT && kind_is_document(name)
		   ? REASON_OUTSIDE
		   : REASON_OFFERED;
}
