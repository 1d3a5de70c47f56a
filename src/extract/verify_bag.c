/*
 * The rules of a bag, and the small proof archive.
 *
 * Source: RFC 8493 sections 2.1.1 (bagit.txt), 2.2.2 (bag-info.txt, Payload-Oxum).
 */
#include "extract/verify_internal.h"

#include <archive.h>
#include <archive_entry.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define TAG_LINE_LIMIT ((size_t)1 << 16)

static bool verify_declaration(struct verify *verify, struct error *error)
{
	static const char wanted[] = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
	char text[sizeof(wanted) + 1];
	size_t length = 0, got = 0;
	uint64_t size;
	bool good;
	int fd;

	if (!job_open(verify, "bagit.txt", true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	do {
		good = job_read(fd, "bagit.txt", text + length, sizeof(text) - length, &got, error);
		length += got;
	} while (good && got > 0 && length < sizeof(text));
	close(fd);
	if (!good)
		return false;
	if (length == sizeof(wanted) - 1 && memcmp(text, wanted, length) == 0)
		return true;
	return differ(verify, error, DIFFERS_BAG, "bagit.txt",
	    "It is not the declaration of a bag of version 1.0 in UTF-8 (RFC 8493, 2.1.1).");
}

/* "Payload-Oxum: BYTES.COUNT" */
static bool parse_oxum(const char *text, uint64_t *bytes, uint64_t *count)
{
	char *end;

	text += strspn(text, " \t");
	if (*text < '0' || *text > '9')
		return false;
	*bytes = strtoull(text, &end, 10);
	if (*end != '.' || end[1] < '0' || end[1] > '9')
		return false;
	*count = strtoull(end + 1, &end, 10);
	return end[strspn(end, " \t\r")] == '\0';
}

static bool check_oxum(struct verify *verify, const char *text, struct error *error)
{
	const struct verify_result *result = verify->result;
	uint64_t bytes, count;

	if (!parse_oxum(text, &bytes, &count))
		return differ(verify, error, DIFFERS_BAG, "bag-info.txt",
		    "Its Payload-Oxum is not two numbers joined by a dot (RFC 8493, 2.2.2).");
	if (verify->n_elsewhere > 0) /* what is in them is not known */
		return true;
	if (bytes == result->file_bytes && count == result->n_files)
		return true;
	return differ(verify, error, DIFFERS_BAG, "bag-info.txt",
	    "Its Payload-Oxum says %" PRIu64 " bytes in %" PRIu64 " files, the parts hold %" PRIu64
	    " bytes in %" PRIu64 " files.",
	    bytes, count, result->file_bytes, result->n_files);
}

bool verify_oxum(struct verify *verify, struct error *error)
{
	static const char label[] = "Payload-Oxum:", name[] = "bag-info.txt";
	struct lines lines;
	unsigned found = 0;
	uint64_t size;
	bool more, good;
	int fd;

	if (!job_open(verify, name, true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	lines_start(&lines, fd, name, TAG_LINE_LIMIT);
	while ((good = lines_next(&lines, &more, error)) && more) {
		const char *line = lines.line;

		if (strncasecmp(line, label, sizeof(label) - 1) == 0) {
			found++;
			good = check_oxum(verify, line + sizeof(label) - 1, error);
		} else if (line[0] != ' ' && line[0] != '\t' && strchr(line, ':') == NULL) {
			good = differ(verify, error, DIFFERS_BAG, name,
			    "Line %" PRIu64 " is no label with a value (RFC 8493, 2.2.2).",
			    lines.number);
		}
		if (!good)
			break;
	}
	lines_free(&lines);
	if (good && found != 1)
		good = differ(verify, error, DIFFERS_BAG, name,
		    "It should have one Payload-Oxum and has %u.", found);
	return good;
}

bool verify_bag(struct verify *verify, struct error *error)
{
	return verify_declaration(verify, error);
}

/* What the proof archive must hold; the list of parts may be there too. */
static const char *const proof_files[] = {
    "bagit.txt", "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt", "SHA256SUMS"};
#define N_PROOF_FILES (sizeof(proof_files) / sizeof(proof_files[0]))

struct proof_visit {
	struct verify *verify;
	bool seen[N_PROOF_FILES];
};

static bool visit_proof_entry(void *context, struct archive *archive, struct archive_entry *entry,
    const char *path, const char *link, struct error *error)
{
	struct proof_visit *visit = context;
	struct verify *verify = visit->verify;
	struct member_check check = {.verify = verify};
	struct digest inside, beside;
	char reason[300];
	bool found;

	if (link != NULL || !name_is_plain(path) || archive_entry_filetype(entry) != AE_IFREG)
		return differ(verify, error, DIFFERS_UNSAFE_NAME, path,
		    "%s holds something that is no tag file.", verify->proof_name);
	for (size_t i = 0; i < N_PROOF_FILES; i++)
		visit->seen[i] = visit->seen[i] || strcmp(path, proof_files[i]) == 0;
	sha256_init(&check.hash);
	archive_content(archive, entry, &check, reason);
	inside = digest_take(&check.hash);
	if (reason[0] != '\0')
		return differ(verify, error, DIFFERS_PART_BROKEN, path,
		    "It cannot be read in %s: %s.", verify->proof_name, reason);
	if (!job_hash(verify, path, true, &found, &beside, error))
		return false;
	return !found || digest_equal(&inside, &beside) ||
	       differ(verify, error, DIFFERS_PROOF, path, "The copy in %s is another one.",
		   verify->proof_name);
}

bool verify_proof(struct verify *verify, struct error *error)
{
	struct proof_visit visit = {.verify = verify};
	struct archive_visitor visitor = {visit_proof_entry, &visit};
	struct digest digest;
	char broken[300];
	uint64_t size;
	uint32_t part;
	int fd;

	if (verify->proof_name[0] == '\0')
		return true;
	if (!job_open(verify, verify->proof_name, true, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	if (!archive_visit(verify, fd, verify->proof_name, &visitor, &digest, broken, error))
		return false;
	if (broken[0] != '\0')
		return differ(verify, error, DIFFERS_PART_BROKEN, verify->proof_name,
		    "It cannot be read to its end: %s.", broken);
	for (size_t i = 0; i < N_PROOF_FILES; i++)
		if (!visit.seen[i] && !differ(verify, error, DIFFERS_PROOF, proof_files[i],
					  "%s does not hold a copy of it.", verify->proof_name))
			return false;
	part = part_find(verify, verify->proof_name);
	if (part != VERIFY_NONE && verify->parts[part].is_listed &&
	    !digest_equal(&verify->parts[part].digest, &digest))
		return differ(verify, error, DIFFERS_PART_HASH, verify->proof_name,
		    "It is not the file that PARTS.SHA256SUMS lists (SHA-256 differs).");
	return true;
}
