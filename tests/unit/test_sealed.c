/*
 * Drives that look encrypted or locked as a whole. What stands for encrypted content is a row of
 * SHA-256 values (FIPS 180-4, by libnettle); the limit in the code is that of Pearson's chi-square
 * test. How such drives behave: common practice, no source.
 */
#include "unit.h"

#include "disk/partition.h"
#include "disk/sealed.h"
#include "drive_image.h"

#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>

#define SIZE (2u << 20)

static uint8_t *chance;
static struct drive_image image;

static int make_image(void **state)
{
	(void)state;
	chance = malloc(SIZE);
	assert_non_null(chance);
	for (uint32_t i = 0; i < SIZE / SHA256_DIGEST_SIZE; i++) {
		struct sha256_ctx hash;

		sha256_init(&hash);
		sha256_update(&hash, sizeof(i), (const uint8_t *)&i);
		sha256_digest(&hash, SHA256_DIGEST_SIZE, chance + i * SHA256_DIGEST_SIZE);
	}
	image = image_make(SIZE);
	return 0;
}

static int drop_image(void **state)
{
	(void)state;
	image_drop(&image);
	free(chance);
	return 0;
}

static void test_random(void **state)
{
	uint8_t bytes[8192];

	(void)state;
	for (size_t i = 0; i + 8192 <= SIZE; i += 8192)
		assert_true(sealed_is_random(chance + i, 8192));
	assert_false(sealed_is_random(chance, 4095));
	memset(bytes, 0, sizeof(bytes));
	assert_false(sealed_is_random(bytes, sizeof(bytes)));
	/* Every value equally often: less chance than chance. */
	for (size_t i = 0; i < sizeof(bytes); i++)
		bytes[i] = (uint8_t)i;
	assert_false(sealed_is_random(bytes, sizeof(bytes)));
	/* Chance in 64 letters, as encrypted mail has it. */
	for (size_t i = 0; i < sizeof(bytes); i++)
		bytes[i] = (uint8_t)('0' + chance[i] % 64);
	assert_false(sealed_is_random(bytes, sizeof(bytes)));
	/* One sector in it is empty. */
	memcpy(bytes, chance, sizeof(bytes));
	memset(bytes + 512, 0, 512);
	assert_false(sealed_is_random(bytes, sizeof(bytes)));
}

struct seen {
	struct findings findings;
	struct arena arena;
	struct table table;
};

static struct seen look(const char *script)
{
	struct seen seen = {0};
	struct error error;
	struct device *device = device_open_test(image.path, script, &error);
	struct source *source;

	findings_init(&seen.findings);
	assert_non_null(device);
	source = source_open(device, &error);
	assert_non_null(source);
	assert_true(table_read(source, &seen.arena, &seen.findings, &seen.table, &error));
	source_close(source);
	return seen;
}

/* The code of the only finding, and what the table says. */
static void check(const char *script, enum sealed sealed, const char *code)
{
	struct seen seen = look(script);

	assert_int_equal(seen.table.kind, TABLE_NONE);
	assert_int_equal(seen.table.sealed, sealed);
	assert_int_equal(seen.findings.count, 1);
	assert_string_equal(seen.findings.items[0].code, code);
	findings_free(&seen.findings);
	arena_free(&seen.arena);
}

static void test_look(void **state)
{
	static const uint8_t zeros[512] = {0};

	(void)state;
	/* Empty, and empty but with bad sectors. */
	check("", SEALED_NOT, "table-none");
	check("fail 0 4096\n", SEALED_NOT, "drive-unreadable");
	/* Nothing can be read. */
	check("fail 0 2097152\n", SEALED_REFUSES, "drive-sealed");
	/* One place can be read: the drive does not refuse, it is bad. */
	check("fail 0 2000000\n", SEALED_NOT, "drive-unreadable");
	/* It tries hard before it fails, somewhere. */
	check("slow 262144 131072 2000\nfail 0 2097152\n", SEALED_NOT, "drive-unreadable");
	image_write(&image, 0, chance, SIZE);
	check("", SEALED_RANDOM, "drive-sealed");
	/* One place speaks against it: the last sector, the first. */
	image_write(&image, SIZE - 512, zeros, 512);
	check("", SEALED_NOT, "table-none");
	image_write(&image, 0, chance, SIZE);
	image_write(&image, 0, zeros, 512);
	check("", SEALED_NOT, "table-none");
	image_write(&image, 0, chance, SIZE);
	check("fail 1048576 1024\n", SEALED_RANDOM, "drive-sealed"); /* not looked at there */
	check("fail 0 512\n", SEALED_NOT, "drive-unreadable");
}

/* A drive that hangs is lost, not locked. */
static void test_lost(void **state)
{
	struct seen seen;

	(void)state;
	seen = look("gone 0 2097152\n");
	assert_int_equal(seen.table.sealed, SEALED_NOT);
	findings_free(&seen.findings);
	arena_free(&seen.arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_random),
	    cmocka_unit_test(test_look),
	    cmocka_unit_test(test_lost),
	};

	return cmocka_run_group_tests(tests, make_image, drop_image);
}
