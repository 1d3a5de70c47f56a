/*
 * Prints what coldlift reads from a hive, one line for each key and value, for comparing with other
 * readers.
 *
 * usage: dump_hive [--bins | --find=PATH] HIVE [LOG...]
 *
 * Lines, fields separated by tabs: "H" name number (health), "K" path, "V" path name type length
 * sha256, "B" sha256 of the bins. With --bins, only the bins themselves; with
 * --find, only the values of the key at PATH. In names, what is not
 * printable ASCII stands as %XX (UTF-8 bytes).
 */
#include "base/arena.h"
#include "base/buf.h"
#include "base/utf.h"
#include "hive/hive.h"

#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LOGS_MAX 4

static bool read_file(const char *name, struct buf *buf)
{
	FILE *file = fopen(name, "rb");
	uint8_t *room;
	size_t got;

	if (file == NULL)
		return false;
	do {
		room = buf_reserve(buf, 1 << 16);
		got = room == NULL ? 0 : fread(room, 1, 1 << 16, file);
		buf_added(buf, got);
	} while (got > 0);
	fclose(file);
	return !buf->failed;
}

/* Names as proper UTF-8, then everything but plain characters as %XX. */
static void add_name(struct buf *out, const char *name)
{
	struct buf clean = {0};

	if (name != NULL)
		utf_clean(&clean, name, strlen(name));
	for (size_t i = 0; i < clean.length; i++) {
		uint8_t byte = clean.data[i];

		if (byte <= ' ' || byte >= 0x7F || byte == '%' || byte == '\\')
			buf_printf(out, "%%%02X", byte);
		else
			buf_add_byte(out, byte);
	}
	buf_free(&clean);
}

static void print_hash(const uint8_t *data, size_t length)
{
	uint8_t digest[SHA256_DIGEST_SIZE];
	struct sha256_ctx sha;

	sha256_init(&sha);
	sha256_update(&sha, length, data);
	sha256_digest(&sha, sizeof(digest), digest);
	for (size_t i = 0; i < sizeof(digest); i++)
		printf("%02x", digest[i]);
	putchar('\n');
}

static void print_values(const struct hive *hive, hive_cell key, const struct buf *path)
{
	struct arena arena = {0};
	struct buf name = {0};
	hive_cell *values;
	size_t n = hive_values(hive, key, &arena, &values), length;
	const uint8_t *data;
	uint32_t type;

	for (size_t i = 0; i < n; i++) {
		buf_clear(&name);
		add_name(&name, hive_value_name(hive, values[i], &arena));
		printf("V\t%s\t%s\t", buf_text(path), buf_text(&name));
		if (hive_value_data(hive, values[i], &arena, &type, &data, &length, NULL)) {
			printf("%u\t%zu\t", type, length);
			print_hash(data, length);
		} else {
			printf("-\t-\t-\n");
		}
	}
	buf_free(&name);
	arena_free(&arena);
}

static void print_keys(const struct hive *hive, hive_cell key, struct buf *path, unsigned depth)
{
	struct arena arena = {0};
	size_t length = path->length, n;
	hive_cell *keys;

	printf("K\t%s\n", buf_text(path));
	print_values(hive, key, path);
	n = depth == 0 ? 0 : hive_subkeys(hive, key, &arena, &keys);
	for (size_t i = 0; i < n; i++) {
		buf_add_byte(path, '\\');
		add_name(path, hive_key_name(hive, keys[i], &arena));
		print_keys(hive, keys[i], path, depth - 1);
		path->length = length;
		path->data[length] = 0;
	}
	arena_free(&arena);
}

static void print_health(const struct hive *hive)
{
	const struct hive_health *health = hive_health(hive);
	const uint8_t *bins;
	size_t length;

	printf("H\tbase_block_bad\t%d\nH\twas_dirty\t%d\nH\tlogs_missing\t%d\n",
	    health->base_block_bad, health->was_dirty, health->logs_missing);
	printf("H\tlogs_applied\t%u\nH\tpages_replaced\t%u\nH\ttruncated\t%d\n",
	    health->logs_applied, health->pages_replaced, health->truncated);
	printf("H\troot_lost\t%d\nH\tbad_keys\t%u\nH\tbad_values\t%u\nH\tsalvaged_keys\t%u\n",
	    health->root_lost, health->bad_keys, health->bad_values, health->salvaged_keys);
	bins = hive_bins(hive, &length);
	printf("B\t");
	print_hash(bins, length);
}

static bool print_hive(const struct buf *files, int n, const char *mode)
{
	struct hive_log logs[LOGS_MAX];
	struct buf path = {0};
	struct error error;
	struct hive *hive;
	const uint8_t *bins;
	size_t length;

	for (int i = 1; i < n; i++)
		logs[i - 1] = (struct hive_log){files[i].data, files[i].length, NULL};
	hive = hive_open(files[0].data, files[0].length, logs, (size_t)n - 1, &error);
	if (hive == NULL) {
		printf("E\t%s\n", error.text);
		return false;
	}
	if (strcmp(mode, "--bins") == 0) {
		bins = hive_bins(hive, &length);
		fwrite(bins, 1, length, stdout);
	} else if (*mode != '\0') {
		print_values(
		    hive, hive_find(hive, hive_root(hive), mode + strlen("--find=")), &path);
	} else {
		print_health(hive);
		print_keys(hive, hive_root(hive), &path, HIVE_DEPTH);
	}
	hive_close(hive);
	buf_free(&path);
	return true;
}

int main(int argc, char **argv)
{
	struct buf files[LOGS_MAX + 1] = {0};
	const char *mode = "";
	int first = 1, n;
	bool good;

	if (argc > 1 && (strcmp(argv[1], "--bins") == 0 || strncmp(argv[1], "--find=", 7) == 0))
		mode = argv[first++];
	n = argc - first;
	if (n < 1 || n > LOGS_MAX + 1)
		return 2;
	for (int i = 0; i < n; i++)
		if (!read_file(argv[first + i], &files[i]))
			return 2;
	good = print_hive(files, n, mode);
	for (int i = 0; i < n; i++)
		buf_free(&files[i]);
	return good ? 0 : 1;
}
