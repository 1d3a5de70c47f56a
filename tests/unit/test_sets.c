/*
 * Sets: which copy of a mirror is read, what is said, and descriptions that lie.
 *
 * Layout of the descriptions: see src/disk/set_rst.c; libblkid (util-linux) is the independent
 * reference for the signature. Rules of choice are the program's own. What whole drives of every
 * kind give is tested in tests/run/sets.py.
 */
#include "unit.h"

#include "base/bytes.h"
#include "disk/sets.h"
#include "table_result.h"

#include <blkid/blkid.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The description of one volume over `members` drives, FERN-0001 and so on. Returns its length. */
static size_t make_rst(uint8_t *out, unsigned level, unsigned members, uint32_t sectors)
{
	size_t volume = 0xD8 + 48 * (size_t)members, length = volume + 160 + 4 * (size_t)members;
	uint32_t sum = 0;

	memset(out, 0, length);
	memcpy(out, "Intel Raid ISM Cfg Sig. 1.1.00", 30);
	put_u32(out + 0x24, (uint32_t)length);
	put_u32(out + 0x28, 0xFE12FE12);
	put_u32(out + 0x2C, 7);
	out[0x38] = (uint8_t)members;
	out[0x39] = 1;
	for (unsigned i = 0; i < members; i++) {
		memcpy(out + 0xD8 + 48 * i, "FERN-0001", 9);
		out[0xD8 + 48 * i + 8] = (uint8_t)('1' + i);
		put_u32(out + volume + 160 + 4 * i, i);
	}
	memcpy(out + volume, "Fernhill", 8);
	put_u32(out + volume + 16, sectors);
	out[volume + 112 + 15] = (uint8_t)level;
	out[volume + 112 + 16] = (uint8_t)members;
	for (size_t i = 0; i < length; i += 4)
		sum += get_u32(out + i);
	put_u32(out + 0x20, sum);
	return length;
}

/* Of a file whose description fits one sector. */
static void put_rst(struct drive_image *image, unsigned level, unsigned members, uint32_t sectors)
{
	uint8_t block[4096] = {0};

	assert_true(make_rst(block, level, members, sectors) <= 512);
	image_write(image, image->size - 1024, block, 512);
}

static void recognise(
    struct drive_image *image, const char *script, const char *serial, struct set *set)
{
	struct result result;

	read_table(&result, image->path, script);
	set_recognise(result.source, serial, &result.table, set);
	drop(&result);
}

static void test_rst(void **state)
{
	struct drive_image image = image_make(4 * MIB);
	blkid_probe probe = blkid_new_probe();
	const char *type;
	struct set set;

	(void)state;
	put_rst(&image, 1, 2, 4096);
	assert_non_null(probe);
	assert_int_equal(blkid_probe_set_device(probe, image.fd, 0, 0), 0);
	assert_int_equal(blkid_do_safeprobe(probe), 0);
	assert_int_equal(blkid_probe_lookup_value(probe, "TYPE", &type, NULL), 0);
	assert_string_equal(type, "isw_raid_member");
	blkid_free_probe(probe);
	recognise(&image, "", "", &set);
	assert_int_equal(set.kind, SET_RST);
	assert_int_equal(set.level, SET_MIRROR);
	assert_int_equal(set.member, 0);
	assert_int_equal(set.members, 2);
	assert_int_equal(set.generation, 7);
	assert_int_equal(set.data_size, 4096 * 512);
	assert_string_equal(set.name, "Fernhill");
	assert_true(set.readable_alone);
	/* The drive is known by its serial number, written with spaces before it. */
	recognise(&image, "", "  FERN-0002 ", &set);
	assert_int_equal(set.member, 2);
	recognise(&image, "", "XFERN-0002", &set);
	assert_int_equal(set.member, 0);
	image_drop(&image);
}

/* --- a table of volumes that is as large as it may be and means harm --- */

#define BLOCK 128u
#define BLOCKS 30000u

static void put_u32_be(uint8_t *at, uint32_t number)
{
	for (int i = 0; i < 4; i++)
		at[i] = (uint8_t)(number >> (24 - 8 * i));
}

/* A number with its byte of length before it. */
static uint8_t *put_number(uint8_t *at, uint32_t number)
{
	*at = 4;
	put_u32_be(at + 1, number);
	return at + 5;
}

static uint8_t *put_block(uint8_t *database, uint32_t index, unsigned part, unsigned parts)
{
	uint8_t *block = database + 17 * 512 + 512 + index * BLOCK;

	memcpy(block, "VBLK", 4);
	put_u32_be(block + 8, index + 1);
	block[13] = (uint8_t)part;
	block[15] = (uint8_t)parts;
	return block + 16;
}

/* This disk, then as many volumes as components and pieces, each of which belongs to the last. */
static void put_records(uint8_t *database)
{
	uint32_t third = (BLOCKS - 1) / 3;
	uint8_t *record = put_block(database, 0, 0, 1);

	record[3] = 0x44;
	put_number(record + 8, 1);
	for (uint32_t i = 1; i < BLOCKS; i++) {
		static const uint8_t types[] = {0x51, 0x32, 0x33};
		uint8_t *at;

		record = put_block(database, i, 0, 1);
		record[3] = types[i % 3];
		at = put_number(record + 8, i / 3 + 1);
		if (i % 3 == 1) { /* component */
			at += 2;
			*at = 2;
			at = put_number(at + 5, 1);
			put_number(at + 16, third);
		} else if (i % 3 == 2) { /* piece */
			at = put_number(at + 1 + 12 + 8 + 8, 8);
			put_number(put_number(at, third), 1);
		}
	}
}

static void put_dynamic(struct drive_image *image, const uint8_t *database, size_t length)
{
	uint8_t sector[512] = {0};

	sector[446 + 4] = 0x42;
	put_u32(sector + 446 + 8, 63);
	put_u32(sector + 446 + 12, 4096);
	put_u16(sector + 510, 0xAA55);
	image_write(image, 0, sector, sizeof(sector));
	memset(sector, 0, sizeof(sector));
	memcpy(sector, "PRIVHEAD", 8);
	memcpy(sector + 0x30, "00000000-0000-0000-0000-000000000000", 36);
	sector[0x12B + 6] = 2048 >> 8;  /* where the database begins, in sectors */
	sector[0x133 + 6] = 8192 >> 8;  /* and how long it is */
	image_write(image, 6 * 512, sector, sizeof(sector));
	image_write(image, 2048 * 512, database, length);
}

static void start_database(uint8_t *database)
{
	uint8_t *head = database + 17 * 512;

	memcpy(head, "VMDB", 4);
	put_u32_be(head + 8, BLOCK);
	put_u32_be(head + 12, 512);
}

/*
 * Neither records that each lead to all others, nor records whose parts are nowhere, take more than
 * a moment. Our own property, no outside source applies.
 */
static void test_large_dynamic(void **state)
{
	const size_t length = 4 * MIB;
	struct drive_image image = image_make(16 * MIB);
	uint8_t *database = calloc(1, length);
	struct set set;

	(void)state;
	assert_non_null(database);
	unit_limit_processor_time(60);
	start_database(database);
	put_records(database);
	put_dynamic(&image, database, length);
	recognise(&image, "", "", &set);
	assert_int_equal(set.kind, SET_DYNAMIC);
	memset(database, 0, length);
	start_database(database);
	for (uint32_t i = 0; i < BLOCKS; i++)
		put_block(database, i, 0, 8);
	put_dynamic(&image, database, length);
	recognise(&image, "", "", &set);
	assert_int_equal(set.kind, SET_DYNAMIC);
	free(database);
	image_drop(&image);
}

/* A drive that cannot be read, or is too small, has no set and is not asked for long. */
static void test_unreadable(void **state)
{
	struct drive_image image = image_make(4 * MIB);
	struct result result;
	struct set set;

	(void)state;
	put_rst(&image, 1, 2, 4096);
	recognise(&image, "fail 0 4194304", "", &set);
	assert_int_equal(set.kind, SET_NONE);
	recognise(&image, "size 4194303", "", &set);
	assert_int_equal(set.kind, SET_NONE);
	for (unsigned size = 1; size < 40000; size += 517) {
		char script[40];

		snprintf(script, sizeof(script), "size %u", size);
		recognise(&image, script, "", &set);
		assert_int_equal(set.kind, SET_NONE);
	}
	read_table(&result, image.path, "fail 0 512");
	set_recognise(result.source, "", &result.table, &set);
	assert_true(device_test_counts(source_device(result.source)).reads < 400);
	drop(&result);
	image_drop(&image);
}

/* Every byte of the description changed, with the checksum put right: nothing may break. */
static void test_hostile(void **state)
{
	static const uint8_t values[] = {0, 1, 0x7F, 0xFF};
	struct drive_image image = image_make(MIB);
	uint8_t block[512] = {0};
	size_t length = make_rst(block, 5, 2, 4096);
	struct set set;

	(void)state;
	for (size_t at = 0x24; at < length; at++) {
		for (size_t v = 0; v < sizeof(values); v++) {
			uint8_t copy[512];
			uint32_t sum = 0, size;

			memcpy(copy, block, sizeof(copy));
			copy[at] = values[v];
			size = get_u32(copy + 0x24);
			put_u32(copy + 0x20, 0);
			for (size_t i = 0; i < sizeof(copy) && i < size; i += 4)
				sum += get_u32(copy + i);
			put_u32(copy + 0x20, sum);
			image_write(&image, image.size - 1024, copy, sizeof(copy));
			recognise(&image, "", "FERN-0001", &set);
			assert_int_equal(set.kind, SET_RST);
			assert_true(strlen(set.name) <= 16 && set.member <= set.members);
		}
	}
	image_drop(&image);
}

/* --- which copy, and what is said --- */

struct bench {
	struct set sets[3];
	struct table table;
	struct set_member members[3];
	struct findings findings;
};

static struct bench *bench_make(enum set_kind kind, enum set_level level)
{
	static const char *const paths[] = {"/dev/sda", "/dev/sdb", "/dev/sdc"};
	struct bench *bench = calloc(1, sizeof(*bench));

	assert_non_null(bench);
	for (int i = 0; i < 3; i++) {
		bench->sets[i] = (struct set){.kind = kind,
		    .level = level,
		    .members = 3,
		    .generation = 7,
		    .name = "Fernhill",
		    .id = "1",
		    .readable_alone = level == SET_MIRROR};
		bench->members[i] = (struct set_member){
		    .path = paths[i], .set = &bench->sets[i], .table = &bench->table};
	}
	findings_init(&bench->findings);
	return bench;
}

static void bench_drop(struct bench *bench)
{
	findings_free(&bench->findings);
	free(bench);
}

static const char *sentence(const struct bench *bench, const char *code, const char *subject)
{
	for (size_t i = 0; i < bench->findings.count; i++)
		if (strcmp(bench->findings.items[i].code, code) == 0 &&
		    strcmp(bench->findings.items[i].subject, subject) == 0)
			return bench->findings.items[i].sentence;
	return NULL;
}

/* Chooses, and expects this one to be kept and this reason to be given. */
static void expect_kept(struct bench *bench, unsigned kept, const char *why)
{
	sets_say(bench->members, 3, SETS_CHOSEN, &bench->findings);
	for (unsigned i = 0; i < 3; i++) {
		const char *said = sentence(bench, "set-copy-left", bench->members[i].path);

		assert_int_equal(bench->members[i].left_out, i != kept);
		assert_int_equal(said == NULL, i == kept);
		if (said != NULL && i == (kept + 1) % 3)
			assert_non_null(strstr(said, why));
	}
	assert_non_null(sentence(bench, "set-mirror", bench->members[kept].path));
	bench_drop(bench);
}

static void test_choice(void **state)
{
	struct bench *bench = bench_make(SET_RST, SET_MIRROR);

	(void)state;
	expect_kept(bench, 0, "because it comes first");
	bench = bench_make(SET_RST, SET_MIRROR);
	bench->sets[1].generation = 9;
	expect_kept(bench, 1, "is newer");
	/* Faults count for more than age. */
	bench = bench_make(SET_RST, SET_MIRROR);
	bench->sets[1].generation = 9;
	bench->members[1].failing = bench->members[0].failing = true;
	expect_kept(bench, 2, "has faults");
	bench = bench_make(SET_RST, SET_MIRROR);
	bench->sets[0].behind = true;
	expect_kept(bench, 1, "comes first");
}

static void test_other_sets(void **state)
{
	struct bench *bench = bench_make(SET_RST, SET_MIRROR);

	(void)state;
	/* Not the same set, and one whose identity is not known: nothing is left out. */
	strcpy(bench->sets[1].id, "2");
	bench->sets[2].id[0] = '\0';
	sets_say(bench->members, 3, SETS_CHOSEN, &bench->findings);
	for (int i = 0; i < 3; i++)
		assert_false(bench->members[i].left_out);
	assert_false(findings_have(&bench->findings, "set-copy-left"));
	bench_drop(bench);
	/* Drives that were named are all read, with a caution; in a list there is nothing to say.
	 */
	bench = bench_make(SET_RST, SET_MIRROR);
	sets_say(bench->members, 3, SETS_NAMED, &bench->findings);
	assert_int_equal(findings_count(&bench->findings, WEIGHT_CAUTION), 2);
	assert_false(bench->members[1].left_out);
	bench_drop(bench);
	bench = bench_make(SET_RST, SET_MIRROR);
	sets_say(bench->members, 3, SETS_LISTED, &bench->findings);
	assert_int_equal(findings_count(&bench->findings, WEIGHT_CAUTION), 0);
	assert_int_equal(findings_count(&bench->findings, WEIGHT_NOTE), 3);
	bench_drop(bench);
}

/* Whatever cannot be read is named, and no advice on the storage mode lacks its warnings. */
static void test_words(void **state)
{
	(void)state;
	for (int kind = SET_RST; kind <= SET_POOL; kind++) {
		struct bench *bench;
		const struct finding *finding;

		if (kind == SET_DYNAMIC) /* needs its own table: tests/run/sets.py */
			continue;
		for (int level = SET_UNKNOWN; level <= SET_SPAN; level++) {
			if (level == SET_MIRROR)
				continue;
			bench = bench_make((enum set_kind)kind, (enum set_level)level);
			sets_say(bench->members, 2, SETS_CHOSEN, &bench->findings);
			assert_int_equal(findings_count(&bench->findings, WEIGHT_LOSS), 2);
			finding = &bench->findings.items[0];
			assert_string_equal(finding->code, "set-not-read");
			assert_true(strlen(finding->advice) > 20);
			assert_non_null(strstr(finding->advice, "repair"));
			if (strstr(finding->advice, "storage mode") != NULL)
				assert_non_null(strstr(finding->advice, "recovery key"));
			if (kind == SET_RST && level == SET_STRIPE)
				assert_non_null(
				    strstr(finding->sentence, "of whose 3 drives 2 are here"));
			bench_drop(bench);
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_rst),
	    cmocka_unit_test(test_large_dynamic),
	    cmocka_unit_test(test_unreadable),
	    cmocka_unit_test(test_hostile),
	    cmocka_unit_test(test_choice),
	    cmocka_unit_test(test_other_sets),
	    cmocka_unit_test(test_words),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
