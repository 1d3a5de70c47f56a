/* Names and sentences of reasons and states: stable words for machines, plain ones for people. */
#include "plan/plan.h"

struct words {
	const char *name, *sentence;
};

static const struct words reasons[REASON_COUNT] = {
    [REASON_PLACE] = {"place",
	"Lies in one of the person's own folders (desktop, documents, ...)."},
    [REASON_PROFILE] = {"profile", "Lies elsewhere in the person's profile."},
    [REASON_SETTINGS] = {"settings", "Settings that programs keep for the person."},
    [REASON_SHARED] = {"shared", "Lies in a folder that all persons of the PC share."},
    [REASON_OUTSIDE] = {"outside", "Lies outside every profile, and is not the old system's."},
    [REASON_CHANGED] = {"changed", "Data that a program keeps beside itself, changed after it was "
				   "installed."},
    [REASON_ADDED] = {"added",
	"Somebody added it to the old system's or a program's own folders: a font, a picture, a task."},
    [REASON_DELETED] = {"deleted",
	"In the recycle bin, but deleted shortly before the PC was last used, and a document."},
    [REASON_KEYS] = {"keys",
	"Opens what the person encrypted, together with the password; kept unopened, by itself."},
    [REASON_SYSTEM] = {"system", "Belongs to the old system; the new one has its own."},
    [REASON_FILE_SYSTEM] = {"file-system", "Belongs to the file system itself."},
    [REASON_PROGRAM] = {"program", "An installed program; it is better installed afresh."},
    [REASON_PAGE_FILE] = {"page-file", "Memory that the old system put aside on the drive."},
    [REASON_CACHE] = {"cache", "A cache: the program makes or fetches it again when needed."},
    [REASON_TEMPORARY] = {"temporary", "A temporary file."},
    [REASON_LOG] = {"log", "A log that a program wrote about itself."},
    [REASON_CRASH_DUMP] = {"crash-dump", "Written when a program crashed."},
    [REASON_INSTALLER_LEFTOVER] = {"installer-leftover",
	"Left behind by an installer or an upgrade."},
    [REASON_RECYCLE_BIN] = {"recycle-bin", "In the recycle bin: the person deleted it; taken only when the owner asks for it."},
    [REASON_ZONE_MARK] = {"zone-mark", "Only says that a file was downloaded."},
    [REASON_LINK] = {"link",
	"Points elsewhere; what it points to is handled where it really lies."},
    [REASON_SERVICE_PROFILE] = {"service-profile", "Profile of a service, not of a person."},
    [REASON_NOT_ASKED] = {"not-asked", "Not among what was asked for on the command line."},
    [REASON_PASSWORDS] = {"passwords", "Saved passwords: taken only when the owner asks for it."},
    [REASON_OFFERED] = {"offered", "Not taken by itself; needs a decision."},
    [REASON_CLOUD_ONLY] = {"cloud-only",
	"Its bytes are not on the drive: they are in the cloud, or were moved elsewhere."},
    [REASON_CLOUD_PART] = {"cloud-part",
	"Some of its bytes are only in the cloud, or were moved elsewhere."},
    [REASON_ENCRYPTED] = {"encrypted", "Encrypted by the file system, and the key is not here."},
    [REASON_SYSTEM_COMPRESSED] = {"system-compressed",
	"Compressed by the old system in a way that cannot be decoded."},
    [REASON_DEDUPLICATED] = {"deduplicated",
	"Its bytes lie in the server's deduplication store; cannot "
	"be put together yet."},
    [REASON_READ_ERROR] = {"read-error", "The drive could not read it, or not all of it."},
    [REASON_DAMAGED] = {"damaged", "What the file system says about it is damaged."},
};

static const char *const states[STATE_COUNT] = {
    [STATE_TAKEN] = "taken",
    [STATE_PARTIAL] = "partial",
    [STATE_UNREADABLE] = "unreadable",
    [STATE_ABSENT] = "absent",
    [STATE_INCOMPLETE] = "incomplete",
    [STATE_LOCKED] = "locked",
    [STATE_LEFT] = "left",
    [STATE_SAME] = "same",
};

const char *reason_name(enum reason reason)
{
	return reason < REASON_COUNT ? reasons[reason].name : "";
}

const char *reason_sentence(enum reason reason)
{
	return reason < REASON_COUNT ? reasons[reason].sentence : "";
}

const char *state_name(enum state state)
{
	return state < STATE_COUNT ? states[state] : "";
}

const char *form_name(enum item_form form)
{
	static const char *const names[FORM_COUNT] = {
	    NULL, "data-ranges", "encrypted-data", "encrypted-data", "encrypted-key"};

	return names[form];
}
