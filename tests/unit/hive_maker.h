/*
 * Makes small hives and logs byte by byte, for the unit tests and the fuzz target.
 *
 * Source: "Windows registry file format specification" (regf).
 */
#ifndef HIVE_MAKER_H
#define HIVE_MAKER_H

#include "base/bytes.h"
#include "hive/hive.h"
#include "hive/internal.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define BINS 4096u

/* A hive under construction: a base block and one bin that grows by pages. */
struct maker {
	uint8_t *data;
	uint32_t size; /* of the bins */
	uint32_t used;
};

static inline void seal_base(uint8_t *data)
{
	uint32_t sum = 0;

	for (size_t i = 0; i < 508; i += 4)
		sum ^= get_u32(data + i);
	put_u32(data + 508, sum);
}

static inline void maker_start(struct maker *maker, uint32_t size)
{
	uint8_t *bin;

	*maker = (struct maker){.size = size, .used = 32};
	maker->data = calloc(1, BINS + size);
	if (maker->data == NULL)
		abort();
	memcpy(maker->data, "regf", 4);
	put_u32(maker->data + 4, 7);
	put_u32(maker->data + 8, 7);
	put_u64(maker->data + 12, 132000000000000000u);
	put_u32(maker->data + 20, 1);
	put_u32(maker->data + 24, 5);
	put_u32(maker->data + 32, 1);
	put_u32(maker->data + 36, 32);
	put_u32(maker->data + 40, size);
	put_u32(maker->data + 44, 1);
	seal_base(maker->data);
	bin = maker->data + BINS;
	memcpy(bin, "hbin", 4);
	put_u32(bin + 8, size);
	put_u64(bin + 20, 132000000000000000u);
}

static inline uint8_t *at(const struct maker *maker, hive_cell cell)
{
	return maker->data + BINS + cell + 4;
}

static inline hive_cell add_cell(struct maker *maker, size_t length)
{
	uint32_t size = ((uint32_t)length + 4 + 7) / 8 * 8;
	hive_cell cell = maker->used;

	if (size > maker->size - maker->used)
		abort();
	put_u32(maker->data + BINS + cell, -size);
	maker->used += size;
	return cell;
}

/* What is left of the bin becomes one free cell. */
static inline void maker_end(struct maker *maker)
{
	if (maker->used < maker->size)
		put_u32(maker->data + BINS + maker->used, maker->size - maker->used);
}

static inline hive_cell add_key(struct maker *maker, hive_cell parent, const char *name)
{
	size_t length = strlen(name);
	hive_cell cell = add_cell(maker, NK_SIZE + length);
	uint8_t *nk = at(maker, cell);

	memcpy(nk, "nk", 2);
	put_u16(nk + 2, parent == HIVE_NO_CELL ? 0x2C : 0x20);
	put_u32(nk + 16, parent);
	put_u32(nk + 28, UINT32_MAX);
	put_u32(nk + 40, UINT32_MAX);
	put_u16(nk + 72, (uint16_t)length);
	memcpy(nk + NK_SIZE, name, length);
	return cell;
}

static inline void set_subkeys(struct maker *maker, hive_cell key, hive_cell list, uint32_t count)
{
	put_u32(at(maker, key) + 20, count);
	put_u32(at(maker, key) + 28, list);
}

/* What lf and lh keep of a name; only for plain ASCII names. Sections "Fast leaf", "Hash leaf". */
static inline uint32_t name_hint(const struct maker *maker, hive_cell key, bool hash)
{
	const uint8_t *nk = at(maker, key);
	uint32_t hint = 0;
	size_t length;

	if (key >= maker->used || key % 8 != 0 || memcmp(nk, "nk", 2) != 0)
		return 0;
	length = get_u16(nk + 72);
	for (size_t i = 0; i < length; i++) {
		uint8_t c = nk[NK_SIZE + i];

		if (!hash && i < 4)
			hint |= (uint32_t)c << 8 * i;
		if (hash)
			hint = hint * 37 + (c >= 'a' && c <= 'z' ? c - 32u : c);
	}
	return hint;
}

static inline hive_cell add_list(
    struct maker *maker, const char *signature, const hive_cell *entries, size_t n)
{
	size_t step = signature[1] == 'i' ? 4 : 8;
	hive_cell cell = add_cell(maker, 4 + n * step);
	uint8_t *list = at(maker, cell);

	memcpy(list, signature, 2);
	put_u16(list + 2, (uint16_t)n);
	for (size_t i = 0; i < n; i++) {
		put_u32(list + 4 + i * step, entries[i]);
		if (step == 8)
			put_u32(
			    list + 8 + i * 8, name_hint(maker, entries[i], signature[1] == 'h'));
	}
	return cell;
}

static inline hive_cell add_value(
    struct maker *maker, const char *name, uint32_t type, uint32_t size, uint32_t where)
{
	size_t length = strlen(name);
	hive_cell cell = add_cell(maker, 20 + length);
	uint8_t *vk = at(maker, cell);

	memcpy(vk, "vk", 2);
	put_u16(vk + 2, (uint16_t)length);
	put_u32(vk + 4, size);
	put_u32(vk + 8, where);
	put_u32(vk + 12, type);
	put_u16(vk + 16, 1);
	memcpy(vk + 20, name, length);
	return cell;
}

static inline hive_cell add_data(struct maker *maker, const void *data, size_t length)
{
	hive_cell cell = add_cell(maker, length);

	memcpy(at(maker, cell), data, length);
	return cell;
}

static inline void set_values(
    struct maker *maker, hive_cell key, const hive_cell *values, uint32_t n)
{
	hive_cell list = add_cell(maker, 4 * (size_t)n);

	for (uint32_t i = 0; i < n; i++)
		put_u32(at(maker, list) + 4 * (size_t)i, values[i]);
	put_u32(at(maker, key) + 36, n);
	put_u32(at(maker, key) + 40, list);
}

/* root - a - b - c, each with a list of its own. */
static inline void make_chain(
    struct maker *maker, hive_cell cells[4], hive_cell lists[3])
{
	static const char *const names[] = {"root", "a", "b", "c"};

	maker_start(maker, 4096);
	for (size_t i = 0; i < 4; i++)
		cells[i] = add_key(maker, i == 0 ? HIVE_NO_CELL : cells[i - 1], names[i]);
	for (size_t i = 0; i < 3; i++) {
		lists[i] = add_list(maker, "lh", &cells[i + 1], 1);
		set_subkeys(maker, cells[i], lists[i], 1);
	}
	maker_end(maker);
}

/* One entry of a new log: one page of 4096 bytes at `offset`; section "Log entries". */
static inline size_t put_entry(
    uint8_t *entry, uint32_t sequence, uint32_t offset, const uint8_t *page, uint32_t bins_size)
{
	memset(entry, 0, 4608);
	memcpy(entry, "HvLE", 4);
	put_u32(entry + 4, 4608);
	put_u32(entry + 12, sequence);
	put_u32(entry + 16, bins_size);
	put_u32(entry + 20, 1);
	put_u32(entry + 40, offset);
	put_u32(entry + 44, 4096);
	memcpy(entry + 48, page, 4096);
	put_u64(entry + 24, marvin32(MARVIN_SEED, entry + 40, 4608 - 40));
	put_u64(entry + 32, marvin32(MARVIN_SEED, entry, 32));
	return 4608;
}

static inline void start_log(
    uint8_t *log, const struct maker *maker, uint32_t type, uint32_t sequence)
{
	memcpy(log, maker->data, 512);
	put_u32(log + 4, sequence);
	put_u32(log + 8, sequence);
	put_u32(log + 28, type);
	seal_base(log);
}

#endif
