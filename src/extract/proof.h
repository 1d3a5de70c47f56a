/*
 * The proof: hash lists that need no coldlift to be checked.
 *
 * bagit.txt, bag-info.txt, manifest-sha256.txt and tagmanifest-sha256.txt make the job, with all
 * parts unpacked into it, a bag; SHA256SUMS is for `sha256sum -c`; PARTS.SHA256SUMS has the parts
 * themselves; NAME-proof.zip has the first five again.
 *
 * Sources: RFC 8493 (BagIt 1.0); GNU coreutils manual, "md5sum invocation" (escaped names).
 */
#ifndef EXTRACT_PROOF_H
#define EXTRACT_PROOF_H

#include "extract/outcome.h"
#include "extract/parts.h"

#define PROOF_ARCHIVE_END "-proof.zip" /* behind the job's name */

/* A file of the job that the tag manifest lists. */
struct tag_file {
	const char *name;
	struct digest digest;
};

/*
 * Writes all of it. `tags` are the job's other files (record.jsonl...) with their digests, sorted
 * in here.
 */
bool proof_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    const struct tag_file *tags, size_t n_tags, struct error *error);

/* Appends "HASH  PATH\n" as RFC 8493 (2.1.3) wants it: CR, LF and % as %0D, %0A, %25. */
void proof_bag_line(struct buf *out, const struct digest *digest, const char *path);
/* Appends the same as sha256sum writes it: a backslash in front when the name needed escapes. */
void proof_sum_line(struct buf *out, const struct digest *digest, const char *path);

#endif
