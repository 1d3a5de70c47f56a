/* What was claimed and not ticked off, or ticked off and not claimed by all: see verify_internal.h.
 */
#include "extract/verify_internal.h"

#include <string.h>

static bool tell_lists(struct verify *verify, const struct claim *claim, struct error *error)
{
	const uint32_t lists = CLAIM_MANIFEST | CLAIM_SUMS;

	if ((claim->flags & lists) == 0 && (claim->flags & CLAIM_RECORD) != 0)
		return differ(verify, error, DIFFERS_NO_PROOF, claim->path,
		    "The record has a line for it, but no list of the proof has its hash.");
	if ((claim->flags & lists) == CLAIM_MANIFEST &&
	    !differ(verify, error, DIFFERS_PROOF, claim->path,
		"manifest-sha256.txt lists it, SHA256SUMS does not."))
		return false;
	if ((claim->flags & lists) == CLAIM_SUMS &&
	    !differ(verify, error, DIFFERS_PROOF, claim->path,
		"SHA256SUMS lists it, manifest-sha256.txt does not."))
		return false;
	if ((claim->flags & lists) != 0 && (claim->flags & CLAIM_RECORD) == 0)
		return differ(verify, error, DIFFERS_NO_RECORD_LINE, claim->path,
		    "The proof lists it, but the record has no line for it.");
	return true;
}

static bool tell_missing(struct verify *verify, const struct claim *claim, struct error *error)
{
	const struct part *part = claim->part == VERIFY_NONE ? NULL : &verify->parts[claim->part];

	if ((claim->flags & CLAIM_SEEN) != 0 || (part != NULL && part->is_elsewhere))
		return true;
	if (part == NULL)
		return differ(verify, error, DIFFERS_MISSING, claim->path, "No part holds it.");
	if (!part->is_whole)
		return differ(verify, error, DIFFERS_MISSING, claim->path,
		    "It was not found in %s, which is missing or damaged.", part->name);
	return differ(verify, error, DIFFERS_MISSING, claim->path, "It is not in %s.", part->name);
}

static bool tell_folder(struct verify *verify, const struct claim *claim, struct error *error)
{
	if ((claim->flags & CLAIM_RECORD) != 0 && (claim->flags & CLAIM_SEEN) == 0 &&
	    verify->n_elsewhere == 0)
		return differ(verify, error, DIFFERS_MISSING, claim->path,
		    "The record has this folder, and no part holds it.");
	if ((claim->flags & CLAIM_ENTRY) != 0 && (claim->flags & CLAIM_EXPECTED) == 0)
		return differ(verify, error, DIFFERS_EXTRA, claim->path,
		    "This folder is in a part, and the record does not have it.");
	return true;
}

bool verify_rest(struct verify *verify, struct error *error)
{
	for (size_t i = 0; i < verify->table.count; i++) {
		const struct claim *claim = &verify->table.items[i];
		bool is_file =
		    (claim->flags & (CLAIM_MANIFEST | CLAIM_SUMS | CLAIM_DIGEST)) != 0 ||
		    ((claim->flags & CLAIM_RECORD) != 0 && (claim->flags & CLAIM_FOLDER) == 0);

		if (!is_file
			? !tell_folder(verify, claim, error)
			: !tell_lists(verify, claim, error) || !tell_missing(verify, claim, error))
			return false;
	}
	return true;
}
