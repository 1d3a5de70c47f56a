/* Every part of a job, read to its end and ticked off: see verify_internal.h. */
#include "base/utf.h"
#include "extract/verify_internal.h"

#include <archive.h>
#include <archive_entry.h>
#include <stdio.h>
#include <string.h>

struct part_visit {
	struct verify *verify;
	uint32_t part;
};

/* libarchive gives folders with a slash at their end. */
static void copy_path(struct buf *out, const char *path)
{
	size_t length = strlen(path);

	while (length > 1 && path[length - 1] == '/')
		length--;
	buf_add(out, path, length);
}

static bool visit_entry(struct part_visit *visit, struct archive *archive,
    struct archive_entry *entry, const char *path, const char *link, struct error *error)
{
	struct verify *verify = visit->verify;
	struct member_check check;
	char reason[300];

	if (link != NULL)
		return member_link(verify, visit->part, path, link, error);
	if (archive_entry_filetype(entry) == AE_IFDIR)
		return member_folder(verify, path, error);
	if (archive_entry_filetype(entry) != AE_IFREG)
		return differ(verify, error, DIFFERS_EXTRA, path,
		    "%s holds it as a link or device; no part should.",
		    verify->parts[visit->part].name);
	if (!member_begin(&check, verify, visit->part, path, error))
		return false;
	archive_content(archive, entry, &check, reason);
	return member_end(&check, reason[0] == '\0' ? NULL : reason, error);
}

static bool on_entry(void *context, struct archive *archive, struct archive_entry *entry,
    const char *name, const char *link, struct error *error)
{
	struct part_visit *visit = context;
	struct buf path = {0};
	bool good;

	if (name[0] == '\0' || !utf_is_clean(name))
		return differ(visit->verify, error, DIFFERS_UNSAFE_NAME,
		    visit->verify->parts[visit->part].name,
		    "It holds a name that is empty or not UTF-8.");
	copy_path(&path, name);
	if (path.failed)
		good = error_no_memory(error);
	else if (archive_entry_filetype(entry) == AE_IFDIR && strcmp(buf_text(&path), "data") == 0)
		good = true;
	else if (!path_is_payload(buf_text(&path)))
		good = differ(visit->verify, error, DIFFERS_UNSAFE_NAME, buf_text(&path),
		    "%s holds this name, which does not lie below data/.",
		    visit->verify->parts[visit->part].name);
	else
		good = visit_entry(visit, archive, entry, buf_text(&path), link, error);
	buf_free(&path);
	return good;
}

static bool verify_part(struct verify *verify, uint32_t index, struct error *error)
{
	struct part_visit visit = {verify, index};
	struct archive_visitor visitor = {on_entry, &visit};
	const char *name = verify->parts[index].name;
	struct part *part = &verify->parts[index];
	struct digest digest;
	char broken[300];
	uint64_t size;
	int fd;

	if (!part_open(verify, index, false, &fd, &size, error))
		return false;
	if (fd < 0)
		return differ(verify, error, DIFFERS_PART_MISSING, name,
		    "PARTS.SHA256SUMS lists this part, and it is not there.");
	verify->result->n_parts++;
	verify->result->part_bytes += size;
	if (!archive_visit(verify, fd, name, &visitor, &digest, broken, error))
		return false;
	part->is_whole = broken[0] == '\0';
	if (!part->is_listed)
		return differ(verify, error, DIFFERS_PART_EXTRA, name,
		    "This part is not in PARTS.SHA256SUMS.");
	if (!digest_equal(&part->digest, &digest) &&
	    !differ(verify, error, DIFFERS_PART_HASH, name,
		"It is not the file that PARTS.SHA256SUMS lists (SHA-256 differs)."))
		return false;
	return part->is_whole || differ(verify, error, DIFFERS_PART_BROKEN, name,
				     "It cannot be read to its end: %s.", broken);
}

/* Reads one piece once more, to join it to those before it. */
struct join_visit {
	struct verify *verify;
	const char *path;
	struct whole *whole;
};

static bool on_join_entry(void *context, struct archive *archive, struct archive_entry *entry,
    const char *name, const char *link, struct error *error)
{
	struct join_visit *visit = context;
	struct member_check check = {
	    .verify = visit->verify, .whole = visit->whole, .path = visit->path};
	char reason[300];

	(void)link;
	(void)error;
	if (strcmp(name, visit->path) != 0)
		return true;
	check.claim = table_find(visit->verify, visit->path);
	sha256_init(&check.hash);
	archive_content(archive, entry, &check, reason);
	visit->whole->next++;
	return true;
}

/* Pieces that did not come in their order. All of them are good by themselves. */
static bool join_again(struct verify *verify, struct whole *whole, struct error *error)
{
	while (whole->next <= whole->n_pieces) {
		const struct claim *claim = &verify->table.items[whole->claims[whole->next - 1]];
		struct join_visit visit = {verify, claim->path, whole};
		struct archive_visitor visitor = {on_join_entry, &visit};
		uint32_t before = whole->next;
		struct digest digest;
		char broken[300];
		uint64_t size;
		int fd;

		if (claim->part == VERIFY_NONE || verify->parts[claim->part].is_folder)
			return true; /* verify_folder_part() joins by itself */
		if (!part_open(verify, claim->part, true, &fd, &size, error))
			return false;
		if (fd < 0 || !archive_visit(verify, fd, verify->parts[claim->part].name, &visitor,
				  &digest, broken, error))
			return fd < 0;
		if (whole->next == before)
			return true;
	}
	return true;
}

static bool verify_whole(struct verify *verify, struct whole *whole, struct error *error)
{
	uint64_t size = 0;
	struct digest digest;

	for (uint32_t i = 0; i < whole->n_pieces; i++) {
		const struct claim *claim;

		if (whole->claims[i] == VERIFY_NONE)
			return true;
		claim = &verify->table.items[whole->claims[i]];
		if ((claim->flags & CLAIM_GOOD) == 0)
			return true; /* told for the piece */
		size += claim->size;
	}
	if (size != whole->size)
		return differ(verify, error, DIFFERS_SIZE, whole->path,
		    "Its pieces have %llu bytes together; %llu were recorded.",
		    (unsigned long long)size, (unsigned long long)whole->size);
	if (!join_again(verify, whole, error))
		return false;
	digest = digest_take(&whole->hash);
	return digest_equal(&digest, &whole->digest) ||
	       differ(verify, error, DIFFERS_BYTES, whole->path,
		   "Its pieces, joined, are not the file that was recorded (SHA-256 differs).");
}

bool verify_parts(struct verify *verify, struct error *error)
{
	for (uint32_t i = 0; i < verify->n_parts; i++) {
		if (strcmp(verify->parts[i].name, verify->proof_name) == 0)
			continue; /* verify_proof() */
		if (verify->parts[i].is_elsewhere)
			continue;
		if (verify->parts[i].is_folder ? !verify_folder_part(verify, i, error)
					    : !verify_part(verify, i, error))
			return false;
	}
	for (size_t i = 0; i < verify->n_wholes; i++)
		if (!verify_whole(verify, &verify->wholes[i], error))
			return false;
	return true;
}
