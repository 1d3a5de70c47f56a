/* Names of what stands beside a job's parts: see paper_names.h. */
#include "extract/paper_names.h"

#include "extract/places.h"
#include "extract/wipe_list.h"

#include <string.h>

bool paper_is_known(const char *name)
{
	static const char *const names[] = {"bagit.txt", "bag-info.txt", "manifest-sha256.txt",
	    "tagmanifest-sha256.txt", "SHA256SUMS", "PARTS.SHA256SUMS", "record.jsonl",
	    "where.json", "programs.json", "findings.json", "account.json", "belongings.json",
	    "accounts.json", "devices.json", "recycle-bin.json", "found-files.json",
	    WIPE_TEXT_FILE, WIPE_JSON_FILE, "licence-keys.txt", PLACES_PAPER};

	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		if (strcmp(name, names[i]) == 0)
			return true;
	return false;
}
