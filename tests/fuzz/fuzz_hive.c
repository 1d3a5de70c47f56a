/*
 * Fuzzes the hive reader with log replay.
 *
 * The input is either three files (hive and two logs) or a list of patches to a small whole hive
 * with its logs, which gets deep into the reader at once. Checksums and the logs' hashes are put
 * right afterwards when the input asks for it: otherwise no change would ever get past them.
 */
#include "../unit/hive_maker.h"
#include "base/arena.h"

#include <stdio.h>

#define LOG_SIZE (512 + 3 * 4608)
#define HIVE_SIZE (4096 + 8192)

/* hive, new log, new or old log, in one piece so that one offset reaches everything */
#define TOTAL (HIVE_SIZE + LOG_SIZE + LOG_SIZE)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* root with subkeys in ri(li, lf, lh), values of several kinds, and a key deeper down. */
static void make_hive(struct maker *maker)
{
	hive_cell root, keys[6], lists[3], values[4], deep;
	char name[2] = "a";

	maker_start(maker, 8192);
	root = add_key(maker, HIVE_NO_CELL, "root");
	for (size_t i = 0; i < 6; i++, name[0]++)
		keys[i] = add_key(maker, root, name);
	lists[0] = add_list(maker, "li", keys, 2);
	lists[1] = add_list(maker, "lf", keys + 2, 2);
	lists[2] = add_list(maker, "lh", keys + 4, 2);
	set_subkeys(maker, root, add_list(maker, "ri", lists, 3), 6);
	deep = add_key(maker, keys[3], "deep");
	set_subkeys(maker, keys[3], add_list(maker, "lh", &deep, 1), 1);
	values[0] = add_value(maker, "", HIVE_SZ, 8, add_data(maker, "p\0e\0a\0\0", 8));
	values[1] = add_value(maker, "n", HIVE_DWORD, 0x80000004u, 5);
	values[2] =
	    add_value(maker, "m", HIVE_MULTI_SZ, 12, add_data(maker, "a\0\0\0b\0\0\0\0\0\0", 12));
	values[3] = add_value(maker, "big", HIVE_BINARY, 16400, add_data(maker, "db\1\0", 8));
	set_values(maker, deep, values, 4);
	maker_end(maker);
}

static void make_files(uint8_t *files, bool old_log)
{
	uint8_t *one = files + HIVE_SIZE, *two = one + LOG_SIZE;
	struct maker maker;

	make_hive(&maker);
	put_u32(maker.data + 4, 8);
	seal_base(maker.data);
	memcpy(files, maker.data, HIVE_SIZE);
	start_log(one, &maker, 6, 7);
	for (unsigned i = 0; i < 3; i++)
		put_entry(one + 512 + i * 4608, 7 + i, i % 2 * 4096,
		    maker.data + 4096 + i % 2 * 4096, 8192);
	start_log(two, &maker, old_log ? 1 : 6, 10);
	if (old_log) {
		memcpy(two + 512, "DIRT\xFF\xFF", 6);
		memcpy(two + 1024, maker.data + 4096, 8192);
	} else {
		put_entry(two + 512, 10, 0, maker.data + 4096, 8192);
	}
	free(maker.data);
}

/* Hashes of every entry whose size makes sense. */
static void seal_log(uint8_t *log, size_t length)
{
	size_t at = 512;

	if (length < 512)
		return;
	seal_base(log);
	while (at < length && length - at >= 40 && memcmp(log + at, "HvLE", 4) == 0) {
		uint32_t size = get_u32(log + at + 4);

		if (size < 40 || size > length - at)
			return;
		put_u64(log + at + 24, marvin32(MARVIN_SEED, log + at + 40, size - 40));
		put_u64(log + at + 32, marvin32(MARVIN_SEED, log + at, 32));
		at += size;
	}
}

static void use_values(const struct hive *hive, hive_cell key, struct arena *arena)
{
	hive_cell *cells;
	size_t n = hive_values(hive, key, arena, &cells), length;
	const uint8_t *data;
	uint64_t number;
	uint32_t type;
	char **texts;

	for (size_t i = 0; i < n; i++) {
		char *name = hive_value_name(hive, cells[i], arena);

		if (name == NULL)
			abort();
		hive_value_data(hive, cells[i], arena, &type, &data, &length, NULL);
		if (hive_find_value(hive, key, name) == HIVE_NO_CELL)
			abort();
		hive_text(hive, key, "", name, arena, &type);
		hive_number(hive, key, "", name, &number);
		hive_texts(hive, key, "", name, arena, &texts);
	}
}

/* Every key must be there once and have a name, within the promised depth. */
static void use_keys(const struct hive *hive, hive_cell key, unsigned depth, size_t *left)
{
	struct arena arena = {0};
	hive_cell *cells;
	size_t n;

	if (depth > HIVE_DEPTH || (*left)-- == 0 || hive_key_name(hive, key, &arena) == NULL)
		abort();
	hive_key_written(hive, key);
	use_values(hive, key, &arena);
	n = hive_subkeys(hive, key, &arena, &cells);
	for (size_t i = 0; i < n; i++)
		use_keys(hive, cells[i], depth + 1, left);
	arena_free(&arena);
}

static void use(const uint8_t *data, size_t length, const struct hive_log *logs, size_t n_logs)
{
	struct error error;
	struct holes holes = {0}; /* as the last bytes say; the data there is as if unread */
	struct hive *hive;
	size_t left = 100000, bins;

	if (length > 4 && data[length - 1] % 2 == 1)
		holes_add(&holes, (uint64_t)512 * data[length - 2], (uint64_t)512 * data[length - 3]);
	hive = hive_open_holed(data, length, &holes, logs, n_logs, &error);
	holes_free(&holes);
	if (hive == NULL)
		return;
	use_keys(hive, hive_root(hive), 0, &left);
	hive_find(hive, hive_root(hive), "d\\deep\\x");
	hive_last_written(hive);
	hive_bins(hive, &bins);
	hive_close(hive);
}

/* Three lengths of two bytes, then the files. */
static void fuzz_files(const uint8_t *data, size_t size, bool seal)
{
	struct hive_log logs[2];
	size_t lengths[3], at = 6;
	uint8_t *copy;

	if (size < 6)
		return;
	copy = malloc(size);
	if (copy == NULL)
		return;
	memcpy(copy, data, size);
	for (size_t i = 0; i < 3; i++) {
		lengths[i] = get_u16(data + 2 * i);
		if (lengths[i] > size - at)
			lengths[i] = size - at;
		if (i > 0)
			logs[i - 1] = (struct hive_log){copy + at, lengths[i], NULL};
		if (i > 0 && seal)
			seal_log(copy + at, lengths[i]);
		at += lengths[i];
	}
	if (seal && lengths[0] >= 512)
		seal_base(copy + 6);
	use(copy + 6, lengths[0], logs, 2);
	free(copy);
}

/* Patches: an offset of two bytes, a length of one byte (1 to 8), the bytes. */
static void fuzz_patches(const uint8_t *data, size_t size, bool old_log, bool seal)
{
	uint8_t *files = calloc(1, TOTAL);
	struct hive_log logs[2];

	if (files == NULL)
		return;
	make_files(files, old_log);
	if (size > 4096)
		size = 4096;
	while (size >= 4) {
		size_t at = get_u16(data) % (TOTAL - 8), n = 1 + data[2] % 8;

		if (n > size - 3)
			n = size - 3;
		memcpy(files + at, data + 3, n);
		data += 3 + n;
		size -= 3 + n;
	}
	if (seal) {
		seal_base(files);
		seal_log(files + HIVE_SIZE, LOG_SIZE);
		seal_log(files + HIVE_SIZE + LOG_SIZE, LOG_SIZE);
	}
	logs[0] = (struct hive_log){files + HIVE_SIZE, old_log ? 0 : LOG_SIZE, NULL};
	logs[1] = (struct hive_log){files + HIVE_SIZE + LOG_SIZE, LOG_SIZE, NULL};
	use(files, HIVE_SIZE, logs, 2);
	free(files);
}

/* A whole hive file, as the samples are; its last byte says whether the checksum is put right. */
static void fuzz_hive(const uint8_t *data, size_t size)
{
	uint8_t *copy = malloc(size);

	if (copy == NULL)
		return;
	memcpy(copy, data, size);
	if ((copy[size - 1] & 1) == 0)
		seal_base(copy);
	use(copy, size, NULL, 0);
	free(copy);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	uint8_t mode;

	if (size < 1)
		return 0;
	if (size >= 512 && memcmp(data, "regf", 4) == 0) {
		fuzz_hive(data, size);
		return 0;
	}
	mode = data[0];
	if ((mode & 1) != 0)
		fuzz_files(data + 1, size - 1, (mode & 2) != 0);
	else
		fuzz_patches(data + 1, size - 1, (mode & 4) != 0, (mode & 2) != 0);
	return 0;
}
