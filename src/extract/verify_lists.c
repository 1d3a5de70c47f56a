/*
 * The lists of hashes: manifest-sha256.txt, SHA256SUMS and PARTS.SHA256SUMS.
 *
 * Sources: RFC 8493 section 2.1.3 (a line of a manifest, percent-encoding); GNU coreutils manual,
 * "md5sum invocation" (a line of SHA256SUMS, its escapes).
 */
#include "extract/verify_internal.h"

#include "base/text.h"

#include <string.h>

/* "%0A", "%0D", "%25" in place. False for any other percent sign: RFC 8493 encodes nothing else. */
static bool undo_percent(char *text)
{
	char *out = text;

	while (*text != '\0') {
		char byte = *text++;

		if (byte == '%') {
			int high = text_hex_value(text[0]);
			int low = high < 0 ? -1 : text_hex_value(text[1]);
			int value = low < 0 ? -1 : high << 4 | low;

			if (value != '\n' && value != '\r' && value != '%')
				return false;
			byte = (char)value;
			text += 2;
		}
		*out++ = byte;
	}
	*out = '\0';
	return true;
}

static bool undo_backslashes(char *text)
{
	char *out = text;

	while (*text != '\0') {
		char byte = *text++;

		if (byte == '\\') {
			byte = *text++;
			if (byte == 'n')
				byte = '\n';
			else if (byte == 'r')
				byte = '\r';
			else if (byte != '\\')
				return false;
		}
		*out++ = byte;
	}
	*out = '\0';
	return true;
}

/* One line of a bag's manifest, taken apart in place. */
static bool split_manifest(char *line, struct digest *digest, char **path)
{
	size_t length = strlen(line);

	if (length > 0 && line[length - 1] == '\r')
		line[--length] = '\0';
	if (length < 2 * DIGEST_SIZE + 2 || !digest_from_hex(line, digest) ||
	    (line[2 * DIGEST_SIZE] != ' ' && line[2 * DIGEST_SIZE] != '\t'))
		return false;
	*path = line + 2 * DIGEST_SIZE;
	*path += strspn(*path, " \t");
	return **path != '\0' && undo_percent(*path);
}

/* One line of sha256sum's. */
static bool split_sums(char *line, struct digest *digest, char **path)
{
	bool escaped = line[0] == '\\';

	line += escaped;
	if (strlen(line) < 2 * DIGEST_SIZE + 3 || !digest_from_hex(line, digest) ||
	    line[2 * DIGEST_SIZE] != ' ' ||
	    (line[2 * DIGEST_SIZE + 1] != ' ' && line[2 * DIGEST_SIZE + 1] != '*'))
		return false;
	*path = line + 2 * DIGEST_SIZE + 2;
	return !escaped || undo_backslashes(*path);
}

typedef bool split_function(char *line, struct digest *digest, char **path);
typedef bool line_function(struct verify *verify, const char *list, const struct digest *digest,
    const char *path, struct error *error);

/* Every line of a list; those that are no line of it are told. */
static bool read_list(struct verify *verify, const char *list, bool must_exist,
    split_function *split, line_function *take, struct error *error)
{
	struct lines lines;
	struct digest digest;
	uint64_t size;
	bool more, good = true;
	char *path;
	int fd;

	if (!job_open(verify, list, must_exist, &fd, &size, error))
		return false;
	if (fd < 0)
		return true;
	lines_start(&lines, fd, list, LIST_LINE_LIMIT);
	while ((good = lines_next(&lines, &more, error)) && more) {
		if (lines.is_open_ended)
			good = differ(verify, error, DIFFERS_FORM, list,
			    "Its last line is cut off.");
		if (good && (strlen(lines.line) != lines.length ||
			!split(lines.line, &digest, &path)))
			good = differ(verify, error, DIFFERS_FORM, list,
			    "Line %llu is not a hash and a name.",
			    (unsigned long long)lines.number);
		else if (good)
			good = take(verify, list, &digest, path, error);
		if (!good)
			break;
	}
	if (good && lines.is_too_long)
		good = differ(verify, error, DIFFERS_FORM, list,
		    "Line %llu is too long; it was not read on.", (unsigned long long)lines.number);
	lines_free(&lines);
	return good;
}

/* Both lists say the same about one path; `flag` tells which one is being read. */
static bool take_payload(struct verify *verify, const char *list, const struct digest *digest,
    const char *path, uint32_t flag, struct error *error)
{
	struct claim *claim;

	if (!path_is_payload(path))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, path,
		    "%s names a file that cannot lie below data/.", list);
	claim = table_put(verify, path, error);
	if (claim == NULL)
		return false;
	if ((claim->flags & flag) != 0)
		return differ(verify, error, DIFFERS_PROOF, path, "%s lists it twice.", list);
	if ((claim->flags & CLAIM_DIGEST) != 0 && !digest_equal(&claim->digest, digest) &&
	    !differ(verify, error, DIFFERS_PROOF, path,
		"manifest-sha256.txt and SHA256SUMS give it different hashes."))
		return false;
	if ((claim->flags & CLAIM_DIGEST) == 0)
		claim->digest = *digest;
	claim->flags |= CLAIM_DIGEST | flag;
	return true;
}

static bool take_manifest_line(struct verify *verify, const char *list,
    const struct digest *digest, const char *path, struct error *error)
{
	return take_payload(verify, list, digest, path, CLAIM_MANIFEST, error);
}

/* SHA256SUMS may name files of the job, too. */
static bool take_sums_line(struct verify *verify, const char *list, const struct digest *digest,
    const char *path, struct error *error)
{
	struct digest own;
	bool found;

	if (strncmp(path, "data/", 5) == 0 || !name_is_plain(path))
		return take_payload(verify, list, digest, path, CLAIM_SUMS, error);
	if (!job_hash(verify, path, true, &found, &own, error))
		return false;
	return !found || digest_equal(&own, digest) || differ(verify, error, DIFFERS_TAG_FILE, path,
	    "It is not the file that %s lists (SHA-256 differs).", list);
}

static bool take_part_line(struct verify *verify, const char *list, const struct digest *digest,
    const char *path, struct error *error)
{
	struct part *part;

	if (!name_is_plain(path))
		return differ(verify, error, DIFFERS_UNSAFE_NAME, path,
		    "%s names a part that cannot lie in the job's folder.", list);
	part = part_put(verify, path, error);
	if (part == NULL)
		return false;
	if (part->is_listed)
		return differ(verify, error, DIFFERS_PROOF, path, "%s lists it twice.", list);
	part->is_listed = true;
	part->digest = *digest;
	return true;
}

bool verify_manifest(struct verify *verify, struct error *error)
{
	return read_list(verify, "manifest-sha256.txt", true, split_manifest, take_manifest_line,
	    error);
}

bool verify_sums(struct verify *verify, struct error *error)
{
	return read_list(verify, "SHA256SUMS", true, split_sums, take_sums_line, error);
}

bool verify_part_list(struct verify *verify, struct error *error)
{
	/* A job in the format "folder" has no parts with a hash of their own. */
	return read_list(verify, "PARTS.SHA256SUMS", !verify->has_folders, split_sums,
	    take_part_line, error);
}

/* What a tag manifest must list: RFC 8493 asks for the manifests, a proof needs the others too. */
static const char *const tag_files[] = {"bagit.txt", "bag-info.txt", "manifest-sha256.txt",
    "SHA256SUMS", "record.jsonl", "where.json", "programs.json", "findings.json", "account.json",
    "destinations.json" /* where there are several */, "PARTS.SHA256SUMS" /* where there are parts */};
#define N_TAG_FILES (sizeof(tag_files) / sizeof(tag_files[0]))

static bool take_tag_line(struct verify *verify, const char *list, const struct digest *digest,
    const char *path, struct error *error)
{
	/* Where the job was left there are copies of some; all are where it ended. */
	bool is_left = verify->places[verify->main].is_left;
	struct digest own;
	bool found;

	for (size_t i = 0; i < N_TAG_FILES; i++)
		if (strcmp(path, tag_files[i]) == 0)
			verify->tags_listed |= 1u << i;
	if (strncmp(path, "data/", 5) == 0 || strncmp(path, "tagmanifest-", 12) == 0)
		return differ(verify, error, DIFFERS_BAG, path,
		    "A tag manifest must not list this file (RFC 8493, 2.2.1).");
	if (!job_hash(verify, path, !is_left, &found, &own, error))
		return false;
	if (!found && is_left)
		return note_absent(verify, path, verify->n_destinations, error);
	return !found || digest_equal(&own, digest) || differ(verify, error, DIFFERS_TAG_FILE, path,
	    "It is not the file that %s lists (SHA-256 differs).", list);
}

bool verify_tag_manifest(struct verify *verify, struct error *error)
{
	static const char list[] = "tagmanifest-sha256.txt";

	if (!read_list(verify, list, true, split_manifest, take_tag_line, error))
		return false;
	if (verify->has_folders)
		verify->tags_listed |= 1u << (N_TAG_FILES - 1);
	if (verify->n_destinations == 1)
		verify->tags_listed |= 1u << (N_TAG_FILES - 2);
	for (size_t i = 0; i < N_TAG_FILES; i++)
		if ((verify->tags_listed & 1u << i) == 0 &&
		    !differ(verify, error, DIFFERS_BAG, tag_files[i], "%s does not list it.", list))
			return false;
	return true;
}
