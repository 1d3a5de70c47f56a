/*
 * Writes everything that src/ntfs finds on a volume as one JSON document, for the tests in Python
 * that compare it with ntfsls and ntfscat.
 *
 * usage: dump_volume IMAGE [SCRIPT]        (SCRIPT: what the test device does, see disk/device.h)
 *
 * Exit status: 0 done, 3 the volume cannot be opened (the reason is on standard error).
 */
#include "base/json.h"
#include "base/locale.h"
#include "ntfs/data.h"
#include "ntfs/reparse.h"

#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define PIECE ((size_t)100 * 1000) /* no multiple of anything, so that all seams are met */
#define MAX_HASHED ((uint64_t)256 << 20)

static void put_holes(struct json *json, const char *key, const struct holes *holes)
{
	json_key(json, key);
	json_begin_array(json);
	for (size_t i = 0; i < holes->count; i++) {
		json_begin_array(json);
		json_unsigned(json, holes->items[i].offset);
		json_unsigned(json, holes->items[i].length);
		json_end(json);
	}
	json_end(json);
}

/* Reads a stream to its end, sparse ranges skipped every other time. */
static void put_bytes(
    struct json *json, const struct catalogue *catalogue, const struct stream *stream)
{
	struct data_reader *reader = data_open(catalogue, stream);
	uint8_t *bytes = malloc(PIECE), digest[SHA256_DIGEST_SIZE];
	struct holes holes = {0}, missing = {0};
	char text[2 * SHA256_DIGEST_SIZE + 1];
	struct sha256_ctx hash;
	uint64_t total = 0, sparse;
	size_t length;
	bool look = false;

	sha256_init(&hash);
	while (reader != NULL && bytes != NULL) {
		sparse = look ? data_sparse(reader, PIECE) : 0;
		look = !look;
		if (sparse > 0) {
			memset(bytes, 0, PIECE);
			data_skip(reader, sparse);
			length = (size_t)sparse;
		} else {
			length = data_read(reader, bytes, PIECE, &holes);
		}
		if (length == 0)
			break;
		sha256_update(&hash, length, bytes);
		total += length;
	}
	sha256_digest(&hash, sizeof(digest), digest);
	for (size_t i = 0; i < sizeof(digest); i++)
		snprintf(text + 2 * i, 3, "%02x", digest[i]);
	json_key_text(json, "sha256", text);
	json_key_unsigned(json, "read", total);
	put_holes(json, "holes", &holes);
	data_missing(catalogue, stream, &missing);
	put_holes(json, "missing", &missing);
	data_close(reader);
	holes_free(&holes);
	holes_free(&missing);
	free(bytes);
}

static void put_runs(
    struct json *json, const struct catalogue *catalogue, const struct stream *stream)
{
	struct arena arena = {0};
	struct run *runs;
	size_t count = data_runs(catalogue, stream, &arena, &runs);

	json_key(json, "runs");
	json_begin_array(json);
	for (size_t i = 0; i < count; i++) {
		json_begin_array(json);
		json_unsigned(json, runs[i].vcn);
		json_signed(json, (int64_t)runs[i].lcn); /* -1 sparse, -2 lost */
		json_unsigned(json, runs[i].length);
		json_end(json);
	}
	json_end(json);
	arena_free(&arena);
}

static void put_stream(
    struct json *json, const struct catalogue *catalogue, const struct stream *stream)
{
	static const char *const contents[] = {"readable", "cloud-only", "cloud-part", "encrypted",
	    "system-compressed", "deduplicated", "damaged"};

	json_begin_object(json);
	json_key_text(json, "name", catalogue_name(catalogue, stream->name));
	json_key_unsigned(json, "size", stream->size);
	json_key_unsigned(json, "initialized", stream->initialized);
	json_key_unsigned(json, "allocated", stream->allocated);
	json_key_unsigned(json, "flags", stream->flags);
	json_key_text(json, "content", contents[data_content(catalogue, stream)]);
	put_runs(json, catalogue, stream);
	if (stream->size <= MAX_HASHED)
		put_bytes(json, catalogue, stream);
	json_end(json);
}

static void put_entry(struct json *json, const struct catalogue *catalogue, uint32_t index)
{
	const struct entry *entry = &catalogue->entries[index];
	const struct node *node = &catalogue->nodes[entry->node];
	struct arena arena = {0};
	struct buf path = {0};
	bool relative;

	json_begin_object(json);
	json_key_unsigned(json, "node", entry->node);
	catalogue_path(catalogue, index, &path);
	json_key_text(json, "path", buf_text(&path));
	json_key_bool(
	    json, "found", catalogue_lookup(catalogue, NODE_ROOT, buf_text(&path)) == entry->node);
	if (entry->short_name != NONE)
		json_key_text(json, "short", catalogue_name(catalogue, entry->short_name));
	json_key_unsigned(json, "flags", node->flags);
	json_key_unsigned(json, "attributes", node->attributes);
	json_key_unsigned(json, "tag", node->reparse_tag);
	json_key_text(json, "owner", catalogue_name(catalogue, node->owner));
	json_key_time(json, "created", node->created);
	json_key_time(json, "modified", node->modified);
	json_key_time(json, "changed", node->changed);
	json_key_time(json, "accessed", node->accessed);
	json_key_text(json, "target", reparse_target(catalogue, entry->node, &arena, &relative));
	json_key(json, "streams");
	json_begin_array(json);
	for (uint32_t i = 0; i < node->n_streams; i++)
		put_stream(json, catalogue, &catalogue->streams[node->first_stream + i]);
	json_end(json);
	json_end(json);
	buf_free(&path);
	arena_free(&arena);
}

static double seconds_since(const struct timespec *start)
{
	struct timespec now;

	clock_gettime(CLOCK_MONOTONIC, &now);
	return (double)(now.tv_sec - start->tv_sec) + (double)(now.tv_nsec - start->tv_nsec) / 1e9;
}

static void put_volume(struct json *json, const struct volume *volume)
{
	const struct catalogue *catalogue = volume->catalogue;
	uint64_t sum = 0;

	for (uint32_t i = 0; i < catalogue->n_nodes; i++)
		sum += catalogue_clusters(catalogue, i);
	json_key_text(json, "label", volume->label);
	json_key_unsigned(json, "sector_size", volume->sector_size);
	json_key_unsigned(json, "cluster_size", volume->cluster_size);
	json_key_unsigned(json, "record_size", volume->record_size);
	json_key_unsigned(json, "clusters", volume->clusters);
	json_key_unsigned(json, "clusters_free", catalogue->clusters_free);
	json_key_unsigned(json, "clusters_used", sum);
	json_key_bool(json, "dirty", volume->dirty);
	json_key_bool(json, "log_pending", volume->log_pending);
	json_key_bool(json, "hibernated", volume->hibernated);
	json_key_unsigned(json, "records_unreadable", catalogue->records_unreadable);
	json_key_unsigned(json, "nodes", catalogue->n_nodes);
	json_key(json, "entries");
	json_begin_array(json);
	for (uint32_t i = 0; i < catalogue->n_entries; i++)
		put_entry(json, catalogue, i);
	json_end(json);
}

static int dump(const char *image, const char *script, struct error *error)
{
	struct device *device = device_open_test(image, script, error);
	struct source *source = device == NULL ? NULL : source_open(device, error);
	struct volume *volume = NULL;
	struct findings findings;
	struct timespec start;
	struct buf text = {0};
	struct json json;
	bool good;

	findings_init(&findings);
	clock_gettime(CLOCK_MONOTONIC, &start);
	if (source != NULL)
		volume = volume_open(source, 0, source_size(source), "C:", &findings, error);
	good = volume != NULL && catalogue_read(volume, "C:", &findings, error);
	if (good) {
		json_start(&json, &text, true);
		json_begin_object(&json);
		json_key_unsigned(&json, "milliseconds", (uint64_t)(seconds_since(&start) * 1000));
		put_volume(&json, volume);
		json_key(&json, "findings");
		findings_to_json(&findings, &json);
		json_end(&json);
		puts(buf_text(&text));
	}
	buf_free(&text);
	volume_close(volume);
	if (source != NULL)
		source_close(source);
	findings_free(&findings);
	return good ? 0 : 3;
}

int main(int argc, char **argv)
{
	struct error error = {0};
	int status;

	if (argc < 2 || argc > 3 || !locale_use_utf8(&error)) {
		fprintf(stderr, "usage: dump_volume IMAGE [SCRIPT]\n");
		return 2;
	}
	status = dump(argv[1], argc > 2 ? argv[2] : "", &error);
	if (status != 0)
		fprintf(stderr, "%s\n", error.text);
	return status;
}
