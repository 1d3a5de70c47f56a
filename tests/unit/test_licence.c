/*
 * Tests of licences: keys against an encoder that does the arithmetic in one number of 128 bits,
 * kinds against the channels and product IDs that are common practice (no source).
 */
#include "unit.h"

#include "system/licence.h"
#include "system/program_licences.h"

#include <stdlib.h>
#include <string.h>

static const char digits[] = "BCDFGHJKMPQRTVWXY2346789";

/* The 15 bytes of 25 digits, of which one may be N (see the decoder's header). */
static void encode(const char *plain, uint8_t bytes[LICENCE_KEY_BYTES])
{
	const char *letter = strchr(plain, 'N');
	unsigned __int128 number = letter ? (unsigned)(letter - plain) : 0;

	for (size_t i = 0; i < 25; i++)
		if (&plain[i] != letter)
			number = number * 24 + (unsigned)(strchr(digits, plain[i]) - digits);
	for (size_t i = 0; i < LICENCE_KEY_BYTES; i++)
		bytes[i] = (uint8_t)(number >> 8 * i);
	if (letter)
		bytes[14] |= 8;
}

static void keys_come_back(void **state)
{
	uint8_t bytes[LICENCE_KEY_BYTES];
	char key[LICENCE_KEY_ROOM];

	(void)state;
	srandom(7);
	for (unsigned round = 0; round < 2000; round++) {
		char plain[26] = {0}, *out = plain;

		for (size_t i = 0; i < 25; i++)
			plain[i] = digits[random() % 24];
		/* The first digit of a key with an N is lost to its place. */
		if (round % 2)
			plain[round / 2 % 24] = 'N';
		encode(plain, bytes);
		assert_true(licence_key_decode(bytes, key));
		assert_int_equal(strlen(key), LICENCE_KEY_ROOM - 1);
		for (size_t i = 0; key[i]; i++) {
			if (i % 6 == 5)
				assert_int_equal(key[i], '-');
			else
				assert_int_equal(key[i], *out++);
		}
	}
}

static void an_erased_key_is_none(void **state)
{
	uint8_t bytes[LICENCE_KEY_BYTES] = {0};
	char key[LICENCE_KEY_ROOM];

	(void)state;
	assert_false(licence_key_decode(bytes, key));
	memset(bytes, 0xFF, sizeof(bytes));
	assert_true(licence_key_decode(bytes, key));
	assert_int_equal(strlen(key), LICENCE_KEY_ROOM - 1);
}

static void kinds_are_told_apart(void **state)
{
	static const struct {
		const char *channel, *product_id, *kind;
	} rows[] = {
	    {"OEM:DM", "00325-80000-00000-AAOEM", "firmware"},
	    {"OEM:NONSLP", "", "pc"},
	    {"OEM:SLP", "", "pc"},
	    {"Retail", "00330-80000-00000-AA123", "retail"},
	    {"Retail:TB:Eval", "", "trial"},
	    {"Volume:GVLK", "", "organisation"},
	    {"Volume:MAK", "", "organisation"},
	    {"", "76487-OEM-0011903-00102", "pc"},
	    {"", "00325-80000-00000-AAOEM", "pc"},
	    {"", "00330-80000-00000-AA123", "unknown"},
	    {"", "OEM", "unknown"},
	    {"", "", "unknown"},
	};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++)
		assert_string_equal(
		    licence_kind_name(licence_kind_of(rows[i].channel, rows[i].product_id)),
		    rows[i].kind);
}

/* What such files are called, and that agreements are not among them: common practice, no source. */
static void files_by_name(void **state)
{
	static const struct {
		const char *name;
		uint64_t size;
		bool is;
	} files[] = {{"ledger.lic", 300, true}, {"LEDGER.LIC", 300, true}, {"a.lic", 3, false},
	    {"a.lic", 70000, false}, {"hut.key", 1024, true}, {"talk.key", 900000, false},
	    {"serial.txt", 40, true}, {"Serial number.txt", 40, true}, {"serial.dll", 40, false},
	    {"license.txt", 40, false}, {"LICENSE", 40, false}, {"license.dat", 900, true},
	    {"regkey.bin", 64, true}, {"myregkey.bin", 64, false}, {"licences.ini", 40, false},
	    {"eula.rtf", 4000, false}, {"lic", 40, false}};

	(void)state;
	for (size_t i = 0; i < sizeof(files) / sizeof(files[0]); i++)
		if (licence_file_is(files[i].name, files[i].size) != files[i].is)
			fail_msg("%s, %u bytes", files[i].name, (unsigned)files[i].size);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(files_by_name),
	    cmocka_unit_test(keys_come_back),
	    cmocka_unit_test(an_erased_key_is_none),
	    cmocka_unit_test(kinds_are_told_apart),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
