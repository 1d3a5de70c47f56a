/* The proof: see proof.h. */
#include "extract/proof.h"

#include "base/filetime.h"
#include "extract/items.h"
#include "extract/line_file.h"
#include "extract/pieces.h"

#include <fcntl.h>
#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BAGIT "bagit.txt"
#define BAG_INFO "bag-info.txt"
#define MANIFEST "manifest-sha256.txt"
#define TAG_MANIFEST "tagmanifest-sha256.txt"
#define SUMS "SHA256SUMS"

void proof_bag_line(struct buf *out, const struct digest *digest, const char *path)
{
	buf_printf(out, "%s  ", digest_to_text(digest).text);
	for (; *path != '\0'; path++) {
		if (*path == '\r' || *path == '\n' || *path == '%')
			buf_printf(out, "%%%02X", (unsigned char)*path);
		else
			buf_add_byte(out, (uint8_t)*path);
	}
	buf_add_byte(out, '\n');
}

void proof_sum_line(struct buf *out, const struct digest *digest, const char *path)
{
	if (strpbrk(path, "\\\n\r") != NULL)
		buf_add_byte(out, '\\');
	buf_printf(out, "%s  ", digest_to_text(digest).text);
	for (; *path != '\0'; path++) {
		if (*path == '\\')
			buf_add_text(out, "\\\\");
		else if (*path == '\n')
			buf_add_text(out, "\\n");
		else if (*path == '\r')
			buf_add_text(out, "\\r");
		else
			buf_add_byte(out, (uint8_t)*path);
	}
	buf_add_byte(out, '\n');
}

/* Both lists of the payload, and how much it is. */
struct payload {
	struct line_file manifest, sums;
	struct buf path;
	uint64_t bytes, files;
};

static void add_file(struct payload *payload, const struct digest *digest, uint64_t size)
{
	proof_bag_line(&payload->manifest.buf, digest, buf_text(&payload->path));
	proof_sum_line(&payload->sums.buf, digest, buf_text(&payload->path));
	payload->bytes += size;
	payload->files++;
}

static void add_item(struct payload *payload, const struct outcomes *outcomes, size_t index)
{
	const struct outcome *outcome = &outcomes->items[index];
	const struct item *item = &outcomes->plan->items[index];
	size_t length;

	if (item->kind != ITEM_FILE || (outcome->flags & OUTCOME_STORED) == 0)
		return;
	buf_clear(&payload->path);
	outcome_path(outcomes, index, &payload->path);
	length = payload->path.length;
	if (outcome->n_pieces == 0)
		add_file(payload, &outcome->digest, item_stored_size(outcomes->plan, item));
	for (uint32_t i = 0; i < outcome->n_pieces; i++) {
		const struct piece *piece = &outcomes->pieces[outcome->first_piece + i];

		payload->path.length = length;
		piece_ending(&payload->path, i + 1, outcome->n_pieces);
		add_file(payload, &piece->digest, piece->size);
	}
}

static bool write_payload(struct payload *payload, const struct job *job,
    const struct outcomes *outcomes, struct tag_file *manifest, struct tag_file *sums,
    struct error *error)
{
	bool good;

	if (!line_file_open(&payload->manifest, job, MANIFEST, error))
		return false;
	good = line_file_open(&payload->sums, job, SUMS, error);
	if (!good)
		return line_file_finish(&payload->manifest, false, NULL, NULL);
	for (size_t i = 0; good && i < outcomes->n_items; i++) {
		add_item(payload, outcomes, i);
		good = line_file_flush(&payload->manifest, error) &&
		    line_file_flush(&payload->sums, error);
	}
	if (good && payload->path.failed)
		good = error_no_memory(error);
	good = line_file_finish(&payload->manifest, good, &manifest->digest, error);
	good = line_file_finish(&payload->sums, good, &sums->digest, error);
	buf_free(&payload->path);
	return good;
}

static bool save(const struct job *job, const char *name, struct buf *content,
    struct digest *digest, struct error *error)
{
	char *path = job_path(job, name);
	bool good = path != NULL ? durable_save(path, content, digest, error) :
				   error_no_memory(error);

	free(path);
	buf_free(content);
	return good;
}

/* RFC 8493, 2.1.1 and 2.2.2. */
static bool write_bag_head(const struct job *job, const struct payload *payload,
    struct tag_file *bagit, struct tag_file *info, struct error *error)
{
	struct buf text = {0};

	buf_add_text(&text, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
	if (!save(job, BAGIT, &text, &bagit->digest, error))
		return false;
	buf_add_text(&text, "Bag-Software-Agent: coldlift " COLDLIFT_VERSION "\n");
	buf_printf(&text, "Bagging-Date: %s\n", job_date(job->started, job->fixed_clock).text);
	buf_printf(&text, "External-Identifier: %s\n", job->name);
	buf_printf(&text, "Payload-Oxum: %" PRIu64 ".%" PRIu64 "\n", payload->bytes,
	    payload->files);
	return save(job, BAG_INFO, &text, &info->digest, error);
}

static int by_name(const void *a, const void *b)
{
	return strcmp(((const struct tag_file *)a)->name, ((const struct tag_file *)b)->name);
}

static bool write_tag_manifest(const struct job *job, struct tag_file *tags, size_t n_tags,
    struct error *error)
{
	struct buf text = {0};

	qsort(tags, n_tags, sizeof(*tags), by_name);
	for (size_t i = 0; i < n_tags; i++)
		proof_bag_line(&text, &tags[i].digest, tags[i].name);
	return save(job, TAG_MANIFEST, &text, NULL, error);
}

static bool write_part_sums(const struct job *job, const struct parts *parts, struct tag_file *tag,
    struct error *error)
{
	struct buf text = {0};

	for (size_t i = 0; i < parts->count; i++)
		if (parts->items[i].group != NONE)
			proof_sum_line(&text, &parts->items[i].digest, parts->items[i].name);
	return save(job, tag->name, &text, &tag->digest, error);
}

static bool copy_into(struct writer *writer, int fd, struct error *error)
{
	uint8_t buffer[16384];
	ssize_t got;

	while ((got = read(fd, buffer, sizeof(buffer))) > 0)
		if (!writer_data(writer, buffer, (size_t)got, error))
			return false;
	return got == 0 || error_set_errno(error, STATUS_DESTINATION, errno,
				"a file of the proof could not be read back");
}

static bool add_to_zip(struct writer *writer, const struct job *job, const char *name,
    struct error *error)
{
	struct member member = {.kind = MEMBER_FILE, .path = name, .modified = job->started};
	char *path = job_path(job, name);
	struct stat info;
	bool good;
	int fd;

	if (path == NULL)
		return error_no_memory(error);
	fd = open(path, O_RDONLY | O_CLOEXEC);
	free(path);
	if (fd < 0 || fstat(fd, &info) != 0) {
		error_set_errno(error, STATUS_DESTINATION, errno, "'%s' cannot be read back", name);
		if (fd >= 0)
			close(fd);
		return false;
	}
	member.size = (uint64_t)info.st_size;
	good = writer_begin(writer, &member, error) && copy_into(writer, fd, error) &&
	    writer_end(writer, error);
	close(fd);
	return good;
}

static bool write_zip(const struct job *job, struct error *error)
{
	static const char *const names[] = {BAGIT, BAG_INFO, MANIFEST, TAG_MANIFEST, SUMS};
	struct writer *writer;
	char *path;
	bool good = true;

	if (asprintf(&path, "%s/%s" PROOF_ARCHIVE_END, job->folder, job->name) < 0)
		return error_no_memory(error);
	writer = writer_open(FORMAT_ZIP, path, NULL, error);
	free(path);
	if (writer == NULL)
		return false;
	for (size_t i = 0; good && i < sizeof(names) / sizeof(names[0]); i++)
		good = add_to_zip(writer, job, names[i], error);
	if (good)
		return writer_finish(writer, NULL, error);
	writer_abandon(writer);
	return false;
}

bool proof_write(const struct job *job, const struct outcomes *outcomes, const struct parts *parts,
    const struct tag_file *tags, size_t n_tags, struct error *error)
{
	enum { OWN = 5 };
	struct tag_file *all = calloc(n_tags + OWN, sizeof(*all));
	struct payload payload = {0};
	bool good;

	if (all == NULL)
		return error_no_memory(error);
	all[0].name = BAGIT;
	all[1].name = BAG_INFO;
	all[2].name = MANIFEST;
	all[3].name = SUMS;
	all[4].name = "PARTS.SHA256SUMS";
	memcpy(all + OWN, tags, n_tags * sizeof(*tags));
	good = write_payload(&payload, job, outcomes, &all[2], &all[3], error) &&
	    write_bag_head(job, &payload, &all[0], &all[1], error) &&
	    write_part_sums(job, parts, &all[4], error) &&
	    write_tag_manifest(job, all, n_tags + OWN, error) && write_zip(job, error);
	free(all);
	return good;
}
