/*
 * Tests of drive letters.
 *
 * Sources: winreg-kb "Mounted devices" (value data); the values are those of the open sample hives
 * windows-hives/SYSTEM and SYSTEM_B (see the data folder's README), as hivexsh prints them.
 */
#include "unit.h"

#include "fake_survey.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

/* SYSTEM, \DosDevices\C: */
static const uint8_t by_signature[] = {
    0x3e, 0xa0, 0xbe, 0x5c, 0x00, 0x00, 0x10, 0x00, 0x00, 0x00, 0x00, 0x00};
/* SYSTEM_B, \DosDevices\C: */
static const uint8_t by_partition[] = {0x44, 0x4d, 0x49, 0x4f, 0x3a, 0x49, 0x44, 0x3a, 0x21, 0x1f,
    0x93, 0x09, 0xaf, 0x7f, 0xa9, 0x44, 0x81, 0xd8, 0x1e, 0x73, 0xc1, 0x4b, 0x9e, 0xaf};
/* SYSTEM, \DosDevices\E:, the text of it */
static const char by_path[] = "_??_USBSTOR#Disk&Ven_HP&Prod_v100w&Rev_1024#AA951D0000007252&0#"
			      "{53f56307-b6bf-11d0-94f2-00a0c91efb8b}";

static void test_values(void **state)
{
	struct arena arena = {0};
	struct buf text = {0};
	struct device_id id;

	(void)state;
	id = device_id_read(by_signature, sizeof(by_signature), &arena);
	assert_int_equal(id.kind, DEVICE_SIGNATURE);
	assert_int_equal(id.signature, 0x5cbea03e);
	assert_int_equal(id.offset, 1024 * 1024);
	assert_string_equal(device_id_words(&id, &arena), "drive signature 5cbea03e, offset 1 MiB");
	id = device_id_read(by_partition, sizeof(by_partition), &arena);
	assert_int_equal(id.kind, DEVICE_PARTITION);
	assert_string_equal(
	    device_id_words(&id, &arena), "partition {09931F21-7FAF-44A9-81D8-1E73C14B9EAF}");
	utf_to_utf16(&text, by_path);
	id = device_id_read(text.data, text.length, &arena);
	assert_int_equal(id.kind, DEVICE_PATH);
	assert_string_equal(id.path, by_path);
	assert_string_equal(device_id_words(&id, &arena), "USB drive HP v100w");
	id = device_id_read(by_signature, 11, &arena);
	assert_int_equal(id.kind, DEVICE_UNKNOWN);
	id = device_id_read(by_signature, 0, &arena);
	assert_int_equal(id.kind, DEVICE_UNKNOWN);
	buf_free(&text);
	arena_free(&arena);
}

static void make_mbr(struct fake *fake, size_t volume, uint32_t signature, uint64_t offset)
{
	fake->drives[volume].table.kind = TABLE_MBR;
	fake->drives[volume].table.disk_signature = signature;
	fake->partitions[volume].offset = offset;
}

static void test_signature_matches(void **state)
{
	struct arena arena = {0};
	struct device_id id = device_id_read(by_signature, sizeof(by_signature), &arena);
	struct device_match match;
	struct fake fake;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake_volume(&fake);
	make_mbr(&fake, 0, 0x11111111, 1024 * 1024);
	make_mbr(&fake, 1, 0x5cbea03e, 1024 * 1024);
	match = device_id_match(&fake.survey, &id, 0);
	assert_int_equal(match.volume, 1);
	assert_int_equal(match.confidence, CONFIDENCE_CERTAIN);
	/* An adapter that shows 512-byte sectors as 4,096, or the other way round. */
	make_mbr(&fake, 1, 0x5cbea03e, 8 * 1024 * 1024);
	match = device_id_match(&fake.survey, &id, 0);
	assert_int_equal(match.volume, 1);
	assert_int_equal(match.confidence, CONFIDENCE_LIKELY);
	make_mbr(&fake, 1, 0x5cbea03e, 128 * 1024);
	assert_int_equal(device_id_match(&fake.survey, &id, 0).confidence, CONFIDENCE_LIKELY);
	/* Another offset is another partition. */
	make_mbr(&fake, 1, 0x5cbea03e, 5 * 1024 * 1024);
	assert_true(device_id_match(&fake.survey, &id, 0).volume == SIZE_MAX);
	fake_end(&fake);
	arena_free(&arena);
}

/* A copied drive has the same signature: doubtful, and the old system's own drive wins. */
static void test_cloned_signature(void **state)
{
	struct arena arena = {0};
	struct device_id id = device_id_read(by_signature, sizeof(by_signature), &arena);
	struct device_match match;
	struct fake fake;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake_volume(&fake);
	make_mbr(&fake, 0, 0x5cbea03e, 1024 * 1024);
	make_mbr(&fake, 1, 0x5cbea03e, 1024 * 1024);
	match = device_id_match(&fake.survey, &id, 1);
	assert_int_equal(match.volume, 1);
	assert_int_equal(match.confidence, CONFIDENCE_DOUBTFUL);
	assert_int_equal(match.others, 1);
	fake_end(&fake);
	arena_free(&arena);
}

static void test_partition_guid(void **state)
{
	struct arena arena = {0};
	struct device_id id = device_id_read(by_partition, sizeof(by_partition), &arena);
	struct fake fake;

	(void)state;
	fake_start(&fake);
	fake_volume(&fake);
	fake.drives[0].table.kind = TABLE_GPT;
	assert_true(device_id_match(&fake.survey, &id, 0).volume == SIZE_MAX);
	fake.partitions[0].id = id.partition;
	assert_int_equal(device_id_match(&fake.survey, &id, 0).volume, 0);
	fake_end(&fake);
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_values),
	    cmocka_unit_test(test_signature_matches),
	    cmocka_unit_test(test_cloned_signature),
	    cmocka_unit_test(test_partition_guid),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
