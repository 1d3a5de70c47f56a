/*
 * Tests of the table of roles.
 *
 * Source: Microsoft's KNOWNFOLDERID page (identifier and default path), checked against the listing
 * in the Free Pascal run-time library's reference of its unit WinDirs, which has the same
 * identifiers. "31C0DD25" (3D Objects) was introduced with Windows 10, version 1703.
 */
#include "unit.h"

#include "system/inner.h"

#include <stdio.h>
#include <string.h>

struct known {
	const char *role, *id, *path;
};

static const struct known persons[] = {
    {"desktop", "{B4BFCC3A-DB2C-424C-B029-7FE99A87C641}", "Desktop"},
    {"documents", "{FDD39AD0-238F-46AF-ADB4-6C85480369C7}", "Documents"},
    {"downloads", "{374DE290-123F-4565-9164-39C4925E467B}", "Downloads"},
    {"pictures", "{33E28130-4E1E-4676-835A-98395C3BC3BB}", "Pictures"},
    {"music", "{4BD8D571-6D19-48D3-BE97-422220080E43}", "Music"},
    {"videos", "{18989B1D-99B5-455B-841C-AB7C74E4DDFC}", "Videos"},
    {"favorites", "{1777F761-68AD-4D8A-87BD-30B759FA33DD}", "Favorites"},
    {"contacts", "{56784854-C6CB-462B-8169-88E350ACB882}", "Contacts"},
    {"links", "{BFB9D5E0-C6A9-404C-B2B2-AE6DB6AF4968}", "Links"},
    {"saved-games", "{4C5C32FF-BB9D-43B0-B5B4-2D72E54EAAA4}", "Saved Games"},
    {"searches", "{7D1D3A04-DEBB-4115-95CF-2F29DA2920DA}", "Searches"},
    {"3d-objects", "{31C0DD25-9439-4F12-BF41-7FF4EDA38722}", "3D Objects"},
    {"screenshots", "{B7BEDE81-DF94-4682-A7D8-57A52620B86F}", "Pictures\\Screenshots"},
    {"camera-roll", "{AB5FB87B-7CE2-4F83-915D-550846C9537B}", "Pictures\\Camera Roll"},
    {"saved-pictures", "{3B193882-D3AD-4EAB-965A-69829D1FB59F}", "Pictures\\Saved Pictures"},
    {"playlists", "{DE92C1C7-837F-4F69-A3BB-86E631204A23}", "Music\\Playlists"},
    {"templates", "{A63293E8-664E-48DB-A079-DF759E0509F7}",
	"AppData\\Roaming\\Microsoft\\Windows\\Templates"},
    {"startup", "{B97D20BB-F46A-4C97-BA10-5E3608430854}",
	"AppData\\Roaming\\Microsoft\\Windows\\Start Menu\\Programs\\Startup"},
};

/* Folders of settings. */
static const struct known settings[] = {
    {"settings-roaming", "{3EB685DB-65F9-4CF6-A03A-E3EF65729F3D}", "AppData\\Roaming"},
    {"settings-local", "{F1B32785-6FBA-4FCF-9D55-7B8E7F157091}", "AppData\\Local"},
    {"settings-local-low", "{A520A1A4-1780-4FF6-BD18-167343C5AF16}", "AppData\\LocalLow"},
};

/* Below %PUBLIC%. */
static const struct known shared[] = {
    {"desktop", "{C4AA340D-F20F-4863-AFEF-F87EF2E6BA25}", "Desktop"},
    {"documents", "{ED4824AF-DCE4-45A8-81E2-FC7965083634}", "Documents"},
    {"downloads", "{3D644C9B-1FB8-4F30-9B45-F670235F79C0}", "Downloads"},
    {"pictures", "{B6EBFB86-6907-413C-9AF7-4FC2ABF07CC5}", "Pictures"},
    {"music", "{3214FAB5-9757-4298-BB61-92A9DEAA44FF}", "Music"},
    {"videos", "{2400183A-6185-49FB-A2D8-4A392A602BA3}", "Videos"},
};

static const struct place_role *find(
    const struct place_role *roles, size_t n_roles, const char *name)
{
	for (size_t i = 0; i < n_roles; i++)
		if (strcmp(roles[i].role, name) == 0)
			return &roles[i];
	return NULL;
}

static void check_known(const struct place_role *roles, size_t n_roles, const struct known *known)
{
	const struct place_role *role = find(roles, n_roles, known->role);
	const struct place_role *parent;
	bool has_id = false;
	char path[200];

	assert_non_null(role);
	for (size_t i = 0; i < 3 && role->names[i]; i++)
		has_id = has_id || strcmp(role->names[i], known->id) == 0;
	assert_true(has_id);
	parent = role->parent ? find(roles, n_roles, role->parent) : NULL;
	snprintf(path, sizeof(path), "%s%s%s", parent ? parent->path : "", parent ? "\\" : "",
	    role->path);
	assert_string_equal(path, known->path);
}

static void test_known_folders(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(persons) / sizeof(persons[0]); i++)
		check_known(place_roles, n_place_roles, &persons[i]);
	for (size_t i = 0; i < sizeof(settings) / sizeof(settings[0]); i++)
		check_known(settings_roles, n_settings_roles, &settings[i]);
	for (size_t i = 0; i < sizeof(shared) / sizeof(shared[0]); i++)
		check_known(shared_roles, n_shared_roles, &shared[i]);
}

/* Every role once, a parent before its children, GUIDs that are GUIDs. */
static void test_table_is_sound(void **state)
{
	struct guid guid;

	(void)state;
	for (size_t i = 0; i < n_place_roles; i++) {
		const struct place_role *role = &place_roles[i];

		assert_ptr_equal(find(place_roles, n_place_roles, role->role), role);
		assert_true(!role->parent || find(place_roles, i, role->parent));
		assert_non_null(role->names[0]);
		for (size_t n = 0; n < 3 && role->names[n]; n++)
			assert_true(
			    role->names[n][0] != '{' || guid_from_text(role->names[n], &guid));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_known_folders),
	    cmocka_unit_test(test_table_is_sound),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
