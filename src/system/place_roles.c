/*
 * The table of roles: which folders the old system knows by role, and where it says so.
 *
 * Sources: Microsoft's KNOWNFOLDERID page (identifiers, default paths, "legacy default paths" for
 * XP); value names in `User Shell Folders`: winreg-kb "User Shell Folders". Identifiers of the form
 * "local documents", which a cloud-sync client's redirection writes beside: common practice, no
 * source.
 */
#include "system/inner.h"

/* clang-format off */
const struct place_role place_roles[] = {
    {"desktop", "Desktop",
	.names = {"Desktop", "{B4BFCC3A-DB2C-424C-B029-7FE99A87C641}",
	    "{754AC886-DF64-4CBA-86B5-F7FBF4FBCEF5}"},
	.path = "Desktop", .nt5_path = "Desktop"},
    {"documents", "Documents",
	.names = {"Personal", "{FDD39AD0-238F-46AF-ADB4-6C85480369C7}",
	    "{F42EE2D3-909F-4907-8871-4C22FC0BF756}"},
	.path = "Documents", .nt5_path = "My Documents"},
    {"downloads", "Downloads",
	.names = {"{374DE290-123F-4565-9164-39C4925E467B}", "{7D83EE9B-2244-4E70-B1F5-5393042AF1E4}"},
	.path = "Downloads"},
    {"pictures", "Pictures",
	.names = {"My Pictures", "{33E28130-4E1E-4676-835A-98395C3BC3BB}",
	    "{0DDD015D-B06C-45D5-8C4C-F59713854639}"},
	.path = "Pictures", .nt5_path = "My Documents\\My Pictures"},
    {"music", "Music",
	.names = {"My Music", "{4BD8D571-6D19-48D3-BE97-422220080E43}",
	    "{A0C69A99-21C8-4671-8703-7934162FCF1D}"},
	.path = "Music", .nt5_path = "My Documents\\My Music"},
    {"videos", "Videos",
	.names = {"My Video", "{18989B1D-99B5-455B-841C-AB7C74E4DDFC}",
	    "{35286A68-3C57-41A1-BBB1-0EAE73D76C95}"},
	.path = "Videos", .nt5_path = "My Documents\\My Videos"},
    {"favorites", "Favorites",
	.names = {"Favorites", "{1777F761-68AD-4D8A-87BD-30B759FA33DD}"},
	.path = "Favorites", .nt5_path = "Favorites"},
    {"contacts", "Contacts",
	.names = {"{56784854-C6CB-462B-8169-88E350ACB882}"},
	.path = "Contacts"},
    {"links", "Links",
	.names = {"{BFB9D5E0-C6A9-404C-B2B2-AE6DB6AF4968}"},
	.path = "Links"},
    {"saved-games", "Saved Games",
	.names = {"{4C5C32FF-BB9D-43B0-B5B4-2D72E54EAAA4}"},
	.path = "Saved Games"},
    {"searches", "Searches",
	.names = {"{7D1D3A04-DEBB-4115-95CF-2F29DA2920DA}"},
	.path = "Searches"},
    {"3d-objects", "3D Objects",
	.names = {"{31C0DD25-9439-4F12-BF41-7FF4EDA38722}"},
	.path = "3D Objects"},
    {"screenshots", "Screenshots",
	.names = {"{B7BEDE81-DF94-4682-A7D8-57A52620B86F}"},
	.parent = "pictures", .path = "Screenshots"},
    {"camera-roll", "Camera Roll",
	.names = {"{AB5FB87B-7CE2-4F83-915D-550846C9537B}"},
	.parent = "pictures", .path = "Camera Roll"},
    {"saved-pictures", "Saved Pictures",
	.names = {"{3B193882-D3AD-4EAB-965A-69829D1FB59F}"},
	.parent = "pictures", .path = "Saved Pictures"},
    {"playlists", "Playlists",
	.names = {"{DE92C1C7-837F-4F69-A3BB-86E631204A23}"},
	.parent = "music", .path = "Playlists"},
    {"templates", "Templates",
	.names = {"Templates", "{A63293E8-664E-48DB-A079-DF759E0509F7}"},
	.path = "AppData\\Roaming\\Microsoft\\Windows\\Templates", .nt5_path = "Templates"},
    {"startup", "Startup",
	.names = {"Startup", "{B97D20BB-F46A-4C97-BA10-5E3608430854}"},
	.path = "AppData\\Roaming\\Microsoft\\Windows\\Start Menu\\Programs\\Startup",
	.nt5_path = "Start Menu\\Programs\\Startup"},
};
/* clang-format on */
const size_t n_place_roles = sizeof(place_roles) / sizeof(place_roles[0]);

/* Folders of settings. XP had no LocalLow. */
/* clang-format off */
const struct place_role settings_roles[] = {
    {"settings-roaming", "settings (Roaming)",
	.names = {"AppData", "{3EB685DB-65F9-4CF6-A03A-E3EF65729F3D}"},
	.path = "AppData\\Roaming", .nt5_path = "Application Data"},
    {"settings-local", "settings (Local)",
	.names = {"Local AppData", "{F1B32785-6FBA-4FCF-9D55-7B8E7F157091}"},
	.path = "AppData\\Local", .nt5_path = "Local Settings\\Application Data"},
    {"settings-local-low", "settings (LocalLow)",
	.names = {"{A520A1A4-1780-4FF6-BD18-167343C5AF16}"},
	.path = "AppData\\LocalLow"},
};
/* clang-format on */
const size_t n_settings_roles = sizeof(settings_roles) / sizeof(settings_roles[0]);

/* Below the public profile (XP: All Users). */
/* clang-format off */
const struct place_role shared_roles[] = {
    {"desktop", "Desktop",
	.names = {"Common Desktop", "{C4AA340D-F20F-4863-AFEF-F87EF2E6BA25}"},
	.path = "Desktop", .nt5_path = "Desktop"},
    {"documents", "Documents",
	.names = {"Common Documents", "{ED4824AF-DCE4-45A8-81E2-FC7965083634}"},
	.path = "Documents", .nt5_path = "Documents"},
    {"downloads", "Downloads",
	.names = {"{3D644C9B-1FB8-4F30-9B45-F670235F79C0}"},
	.path = "Downloads"},
    {"pictures", "Pictures",
	.names = {"CommonPictures", "{B6EBFB86-6907-413C-9AF7-4FC2ABF07CC5}"},
	.path = "Pictures", .nt5_path = "Documents\\My Pictures"},
    {"music", "Music",
	.names = {"CommonMusic", "{3214FAB5-9757-4298-BB61-92A9DEAA44FF}"},
	.path = "Music", .nt5_path = "Documents\\My Music"},
    {"videos", "Videos",
	.names = {"CommonVideo", "{2400183A-6185-49FB-A2D8-4A392A602BA3}"},
	.path = "Videos", .nt5_path = "Documents\\My Videos"},
    {"favorites", "Favorites",
	.names = {"Common Favorites"},
	.nt5_path = "Favorites"},
};
/* clang-format on */
const size_t n_shared_roles = sizeof(shared_roles) / sizeof(shared_roles[0]);
