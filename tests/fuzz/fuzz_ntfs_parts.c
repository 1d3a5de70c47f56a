/*
 * Fuzz target: the small parsers of src/ntfs, picked by the input's first byte.
 */
#include "base/bytes.h"
#include "ntfs/attrlist.h"
#include "ntfs/boot.h"
#include "ntfs/lznt1.h"
#include "ntfs/owners.h"
#include "ntfs/piece.h"
#include "ntfs/record.h"
#include "ntfs/reparse.h"
#include "ntfs/runs.h"
#include "ntfs/wof.h"

#include <stdlib.h>
#include <string.h>

static void check(bool truth)
{
	if (!truth)
		abort();
}

static void fuzz_lznt1(const uint8_t *data, size_t size)
{
	size_t room = size > 0 ? data[0] * 300u + 1 : 1, made;
	uint8_t *out = malloc(room);

	check(out != NULL);
	lznt1_decode(data, size, out, room, &made);
	check(made <= room);
	free(out);
}

static void fuzz_runs(const uint8_t *data, size_t size)
{
	struct run_list list = {0};
	struct run_cursor cursor;
	struct buf packed = {0};
	struct run run;
	uint64_t vcn = 0, end = size > 0 ? data[0] * UINT64_C(1000) : 0;

	runs_decode(&list, data, size, end, 1 << 20);
	check(end == 0 || run_list_end(&list) == end);
	runs_pack(&packed, list.items, list.count);
	run_cursor_start(&cursor, packed.data, packed.length);
	for (size_t i = 0; i < list.count; i++) {
		check(run_cursor_next(&cursor, &run) && run.vcn == vcn && run.length > 0);
		check(run.lcn == list.items[i].lcn && run.length == list.items[i].length);
		check(run.lcn >= RUN_LOST || run.lcn + run.length <= 1 << 20);
		vcn += run.length;
	}
	check(!run_cursor_next(&cursor, &run));
	run_cursor_start(&cursor, data, size);
	while (run_cursor_next(&cursor, &run))
		;
	buf_free(&packed);
	run_list_free(&list);
}

/* Every byte that an attribute promises must be there. */
static void touch(const uint8_t *bytes, size_t length)
{
	static volatile uint8_t sum;

	for (size_t i = 0; i < length; i++)
		sum = (uint8_t)(sum + bytes[i]);
}

static void fuzz_record(const uint8_t *data, size_t size)
{
	struct attribute attribute;
	struct record record;
	uint8_t *copy;
	size_t position = 0;

	size = size / 512 * 512;
	if (size < 512 || size > RECORD_MAX_SIZE)
		return;
	copy = malloc(size);
	check(copy != NULL);
	memcpy(copy, data, size);
	/* Most inputs have no right fixups: one sector for all, and its own number in its end. */
	memcpy(copy, "FILE", 4);
	copy[4] = 0x30;
	copy[5] = 0;
	copy[6] = 2;
	copy[7] = 0;
	memcpy(copy + size - 2, copy + 0x30, 2);
	if (record_open(&record, copy, size)) {
		while (attribute_next(&record, &position, &attribute) == ATTRIBUTE_GOOD) {
			touch(attribute.name, 2 * attribute.name_units);
			if (attribute.is_resident)
				touch(attribute.value, attribute.value_length);
			else
				touch(attribute.pairs, attribute.pairs_length);
		}
	}
	free(copy);
}

static void fuzz_list(const uint8_t *data, size_t size)
{
	struct list_item item;
	size_t position = 0;
	bool broken = false;

	while (attrlist_next(data, size, &position, &item, &broken))
		touch(item.name, 2 * item.name_units);
}

static void fuzz_boot(const uint8_t *data, size_t size)
{
	struct boot boot;
	uint8_t bytes[BOOT_SIZE] = {0};

	memcpy(bytes, data, size < BOOT_SIZE ? size : BOOT_SIZE);
	memcpy(bytes + 3, "NTFS    ", 8);
	if (boot_parse(&boot, bytes))
		check(boot.clusters > 0 && boot.table_lcn < boot.clusters);
}

/*
 * Descriptors as in $SDS: the input is cut into entries, most of which are made to prove themselves
 * right, since no random one would. The first byte tells how long they are.
 */
static void fuzz_owners(const uint8_t *data, size_t size)
{
	struct catalogue catalogue = {0};
	struct owners owners = {0};
	size_t each = size > 0 ? 0x28u + data[0] % 0x60u : 0x28u;
	uint8_t *bytes = malloc(size + 1);

	check(bytes != NULL && pool_add_text(&catalogue, "") == 0);
	memcpy(bytes, data, size);
	for (size_t at = 0; size - at >= each && at < size; at += (each + 15) / 16 * 16) {
		uint32_t sum = 0;

		if ((bytes[at] & 7) != 0) {
			put_u64(bytes + at + 8, at);
			put_u32(bytes + at + 0x10, (uint32_t)each);
			for (size_t i = 0x14; i + 4 <= each; i += 4)
				sum = (sum << 3 | sum >> 29) + get_u32(bytes + at + i);
			put_u32(bytes + at, sum);
		}
	}
	owners_parse(&owners, &catalogue, bytes, size);
	for (size_t i = 0; i < owners.count; i++) {
		check(i == 0 || owners.items[i - 1].id <= owners.items[i].id);
		check(owners_find(&owners, owners.items[i].id) < catalogue.names_length);
	}
	check(owners_of_descriptor(&owners, &catalogue, data, size) < catalogue.names_length);
	owners_free(&owners);
	free(catalogue.names);
	free(bytes);
}

/* Reparse data: the first byte picks a tag that has data worth reading. */
static void fuzz_reparse(uint8_t *data, size_t size)
{
	static const uint32_t tags[] = {REPARSE_MOUNT_POINT, REPARSE_SYMLINK, REPARSE_LX_SYMLINK,
	    REPARSE_NFS, REPARSE_APPEXECLINK, REPARSE_WOF};
	struct arena arena = {0};
	bool relative;
	char *target;

	if (size >= 4)
		put_u32(data, tags[data[0] % (sizeof(tags) / sizeof(tags[0]))]);
	target = reparse_read_target(data, size, &arena, &relative);
	check(target == NULL || target[0] != '\0');
	wof_method(data, size);
	arena_free(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	uint8_t *copy;

	if (size == 0)
		return 0;
	/* A copy of exact size, so that a read behind the end is seen. */
	copy = malloc(size - 1);
	check(copy != NULL);
	memcpy(copy, data + 1, size - 1);
	switch (data[0] % 7) {
	case 0:
		fuzz_lznt1(copy, size - 1);
		break;
	case 1:
		fuzz_runs(copy, size - 1);
		break;
	case 2:
		fuzz_record(copy, size - 1);
		break;
	case 3:
		fuzz_list(copy, size - 1);
		break;
	case 4:
		fuzz_owners(copy, size - 1);
		break;
	case 5:
		fuzz_reparse(copy, size - 1);
		break;
	default:
		fuzz_boot(copy, size - 1);
		break;
	}
	free(copy);
	return 0;
}
