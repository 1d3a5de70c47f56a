/*
 * Makes one place of a volume after the other unreadable, and says which files then differ from
 * what they are on the sound volume. One process for all: a place costs milliseconds.
 *
 * usage: sector_sweep IMAGE SECTOR <OFFSETS        (SECTOR: bytes, of the drive; OFFSETS: one a
 * line)
 *
 * Output: a line of JSON for each stream of the sound volume, for an independent reader to compare,
 * and an empty line. Then a line of JSON for each offset:
 * "opened", "codes" of the findings, and "differs": streams that are missing, have another size,
 * have holes, or differ outside their holes ("wrong"), or whose file is not called as before.
 * Files of the file system itself are left out. Exit status 0, or 3 when the sound volume cannot be
 * opened.
 */
#include "base/json.h"
#include "base/locale.h"
#include "ntfs/data.h"

#include <inttypes.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A stream of the sound volume. */
struct truth {
	uint32_t node;
	char *stream;
	char **names; /* of the file */
	size_t n_names;
	uint8_t *bytes;
	size_t size;
};

struct sweep {
	const char *image;
	unsigned sector;
	struct truth *truths;
	size_t count, capacity;
};

/* An open volume with all that it needs. */
struct opened {
	struct source *source;
	struct volume *volume;
	struct findings findings;
};

static bool open_volume(struct opened *opened, const char *image, const char *script)
{
	struct error error = {0};
	struct device *device = device_open_test(image, script, &error);

	*opened = (struct opened){0};
	findings_init(&opened->findings);
	if (device != NULL)
		opened->source = source_open(device, &error);
	if (opened->source != NULL)
		opened->volume = volume_open(opened->source, 0, source_size(opened->source),
		    "C:", &opened->findings, &error);
	return opened->volume != NULL &&
	       catalogue_read(opened->volume, "C:", &opened->findings, &error);
}

static void close_volume(struct opened *opened)
{
	volume_close(opened->volume);
	source_close(opened->source);
	findings_free(&opened->findings);
}

/* Reads at most `size` bytes; returns how many there are, SIZE_MAX: the stream cannot be read. */
static size_t read_stream(const struct catalogue *catalogue, const struct stream *stream,
    uint8_t *bytes, size_t size, struct holes *holes)
{
	struct data_reader *reader = data_open(catalogue, stream);
	size_t got = 0, length;

	if (reader == NULL)
		return SIZE_MAX;
	while (got < size && (length = data_read(reader, bytes + got, size - got, holes)) > 0)
		got += length;
	data_close(reader);
	return got;
}

static void *need(void *memory)
{
	if (memory == NULL) {
		fprintf(stderr, "no memory\n");
		exit(5);
	}
	return memory;
}

static void keep(struct sweep *sweep, const struct catalogue *catalogue, uint32_t number,
    const struct stream *stream)
{
	const struct node *node = &catalogue->nodes[number];
	struct truth *truth;

	if (!array_reserve(&sweep->truths, &sweep->capacity, sweep->count + 1, sizeof(*truth)))
		need(NULL);
	truth = &sweep->truths[sweep->count++];
	*truth = (struct truth){.node = number, .n_names = node->n_entries};
	truth->stream = need(strdup(catalogue_name(catalogue, stream->name)));
	truth->names = need(calloc(truth->n_names + 1, sizeof(*truth->names)));
	for (size_t i = 0; i < truth->n_names; i++)
		truth->names[i] = need(strdup(
		    catalogue_name(catalogue, catalogue->entries[node->first_entry + i].name)));
	truth->size = (size_t)stream->size;
	truth->bytes = need(malloc(truth->size + 1));
	read_stream(catalogue, stream, truth->bytes, truth->size, NULL);
}

static bool learn_truth(struct sweep *sweep, const char *script)
{
	struct opened opened;
	bool good = open_volume(&opened, sweep->image, script);

	for (uint32_t i = NODE_FIRST_USER; good && i < opened.volume->catalogue->n_nodes; i++) {
		const struct catalogue *catalogue = opened.volume->catalogue;
		const struct node *node = catalogue_node(catalogue, i);

		for (uint32_t k = 0;
		     node != NULL && (node->flags & NODE_SYSTEM) == 0 && k < node->n_streams; k++)
			keep(sweep, catalogue, i, &catalogue->streams[node->first_stream + k]);
	}
	close_volume(&opened);
	return good;
}

static void print_truth(const struct truth *truth)
{
	uint8_t digest[SHA256_DIGEST_SIZE];
	char hex[2 * SHA256_DIGEST_SIZE + 1];
	struct sha256_ctx hash;
	struct buf text = {0};
	struct json json;

	sha256_init(&hash);
	sha256_update(&hash, truth->size, truth->bytes);
	sha256_digest(&hash, sizeof(digest), digest);
	for (size_t i = 0; i < sizeof(digest); i++)
		snprintf(hex + 2 * i, 3, "%02x", digest[i]);
	json_start(&json, &text, false);
	json_begin_object(&json);
	json_key_unsigned(&json, "node", truth->node);
	json_key_text(&json, "stream", truth->stream);
	json_key_unsigned(&json, "size", truth->size);
	json_key_text(&json, "sha256", hex);
	json_end(&json);
	puts(buf_text(&text));
	buf_free(&text);
}

/* --- one place -------------------------------------------------------------------------------- */

static bool has_names(
    const struct catalogue *catalogue, const struct node *node, const struct truth *truth)
{
	for (size_t i = 0; i < truth->n_names; i++) {
		bool found = false;

		for (uint32_t k = 0; k < node->n_entries; k++)
			found =
			    found || strcmp(truth->names[i],
					 catalogue_name(catalogue,
					     catalogue->entries[node->first_entry + k].name)) == 0;
		if (!found)
			return false;
	}
	return true;
}

static bool differs_outside(
    const struct truth *truth, const uint8_t *bytes, const struct holes *holes)
{
	size_t at = 0;

	while (at < truth->size) {
		const struct hole *hole = holes_next(holes, at);
		size_t end =
		    hole != NULL && hole->offset < truth->size ? (size_t)hole->offset : truth->size;

		if (end > at && memcmp(truth->bytes + at, bytes + at, end - at) != 0)
			return true;
		if (hole == NULL || hole->offset >= truth->size)
			return false;
		at = hole->length < truth->size - hole->offset
			 ? (size_t)(hole->offset + hole->length)
			 : truth->size;
	}
	return false;
}

static void put_difference(struct json *json, const struct truth *truth, bool missing, bool named,
    bool wrong, bool resized, const struct holes *holes)
{
	json_begin_object(json);
	json_key_unsigned(json, "node", truth->node);
	json_key_text(json, "stream", truth->stream);
	json_key_bool(json, "missing", missing);
	json_key_bool(json, "named", named);
	json_key_bool(json, "wrong", wrong);
	json_key_bool(json, "resized", resized);
	json_key(json, "holes");
	json_begin_array(json);
	for (size_t i = 0; i < holes->count; i++) {
		json_begin_array(json);
		json_unsigned(json, holes->items[i].offset);
		json_unsigned(json, holes->items[i].length);
		json_end(json);
	}
	json_end(json);
	json_end(json);
}

static void compare(struct json *json, const struct catalogue *catalogue, const struct truth *truth)
{
	const struct node *node = catalogue_node(catalogue, truth->node);
	const struct stream *stream =
	    node == NULL ? NULL : catalogue_stream(catalogue, truth->node, truth->stream);
	bool named = node != NULL && has_names(catalogue, node, truth), wrong = false;
	bool resized = stream != NULL && stream->size != truth->size;
	bool missing = stream == NULL || data_content(catalogue, stream) == CONTENT_DAMAGED;
	uint8_t *bytes = need(malloc(truth->size + 1));
	struct holes holes = {0};

	if (!missing && !resized)
		wrong = read_stream(catalogue, stream, bytes, truth->size, &holes) != truth->size ||
			differs_outside(truth, bytes, &holes);
	if (missing || !named || wrong || resized || holes.count > 0)
		put_difference(json, truth, missing, named, wrong, resized, &holes);
	holes_free(&holes);
	free(bytes);
}

static void look_at(const struct sweep *sweep, uint64_t offset)
{
	struct opened opened;
	struct buf text = {0};
	struct json json;
	char script[100];
	bool good;

	snprintf(script, sizeof(script), "sector %u\nfail %" PRIu64 " %u\n", sweep->sector, offset,
	    sweep->sector);
	good = open_volume(&opened, sweep->image, script);
	json_start(&json, &text, false);
	json_begin_object(&json);
	json_key_unsigned(&json, "offset", offset);
	json_key_bool(&json, "opened", good);
	json_key(&json, "codes");
	json_begin_array(&json);
	for (size_t i = 0; i < opened.findings.count; i++)
		json_text(&json, opened.findings.items[i].code);
	json_end(&json);
	json_key(&json, "differs");
	json_begin_array(&json);
	for (size_t i = 0; good && i < sweep->count; i++)
		compare(&json, opened.volume->catalogue, &sweep->truths[i]);
	json_end(&json);
	json_end(&json);
	puts(buf_text(&text));
	buf_free(&text);
	close_volume(&opened);
}

static void forget(struct sweep *sweep)
{
	for (size_t i = 0; i < sweep->count; i++) {
		struct truth *truth = &sweep->truths[i];

		for (size_t k = 0; k < truth->n_names; k++)
			free(truth->names[k]);
		free(truth->names);
		free(truth->stream);
		free(truth->bytes);
	}
	free(sweep->truths);
}

int main(int argc, char **argv)
{
	struct sweep sweep = {0};
	struct error error = {0};
	char script[50];
	uint64_t offset;

	if (argc != 3 || !locale_use_utf8(&error)) {
		fprintf(stderr, "usage: sector_sweep IMAGE SECTOR <OFFSETS\n");
		return 2;
	}
	sweep.image = argv[1];
	sweep.sector = (unsigned)strtoul(argv[2], NULL, 10);
	snprintf(script, sizeof(script), "sector %u\n", sweep.sector);
	if (!learn_truth(&sweep, script)) {
		fprintf(stderr, "the sound volume cannot be opened\n");
		forget(&sweep);
		return 3;
	}
	for (size_t i = 0; i < sweep.count; i++)
		print_truth(&sweep.truths[i]);
	puts("");
	while (scanf("%" SCNu64, &offset) == 1)
		look_at(&sweep, offset);
	forget(&sweep);
	return 0;
}
