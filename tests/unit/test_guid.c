/*
 * Tests of base/guid.h.
 *
 * Sources: [MS-SHLLINK] 3.1, the worked example (bytes and text of LinkCLSID, 2.1);
 * [MS-DTYP] 2.4.2.1 (text form of a SID) and 2.4.2.4 (well-known SIDs); Microsoft's "SID
 * Components" page (S-1-5-32-544: authority 5, then 32 and 544).
 */
#include "unit.h"

#include "base/guid.h"

#include <string.h>

static void test_shell_link_example(void **state)
{
	/* Bytes 4 to 19 of the example's dump. */
	static const struct guid stored = {{0x01, 0x14, 0x02, 0x00, 0x00, 0x00, 0x00, 0x00, 0xC0,
	    0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x46}};
	struct guid guid;

	(void)state;
	assert_string_equal(guid_to_text(&stored).text, "{00021401-0000-0000-C000-000000000046}");
	assert_true(guid_from_text("00021401-0000-0000-C000-000000000046", &guid));
	assert_true(guid_equal(&guid, &stored));
	assert_true(guid_from_text("{00021401-0000-0000-c000-000000000046}", &guid));
	assert_true(guid_equal(&guid, &stored));
	assert_false(guid_is_zero(&guid));
}

static void test_not_guids(void **state)
{
	static const char *const texts[] = {"", "{", "{}", "{00021401-0000-0000-C000-000000000046",
	    "00021401-0000-0000-C000-000000000046}", "00021401000000000C000000000000046",
	    "{00021401-0000-0000-C000-00000000004G}", "{00021401-0000-0000-C000-000000000046}x"};
	struct guid guid;

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
		assert_false(guid_from_text(texts[i], &guid));
}

static void check_sid(const uint8_t *bytes, size_t length, const char *text)
{
	assert_string_equal(sid_to_text(bytes, length).text, text);
}

static void test_sids(void **state)
{
	static const uint8_t local_system[] = {1, 1, 0, 0, 0, 0, 0, 5, 18, 0, 0, 0};
	static const uint8_t administrators[] = {
	    1, 2, 0, 0, 0, 0, 0, 5, 32, 0, 0, 0, 0x20, 2, 0, 0};
	static const uint8_t everyone[] = {1, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0};
	/* An authority of 2^32 and more is written in hexadecimal with 12 digits. */
	static const uint8_t high[] = {1, 1, 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 7, 0, 0, 0};

	(void)state;
	check_sid(local_system, sizeof(local_system), "S-1-5-18");
	check_sid(administrators, sizeof(administrators), "S-1-5-32-544");
	check_sid(everyone, sizeof(everyone), "S-1-1-0");
	check_sid(high, sizeof(high), "S-1-0x010203040506-7");
}

static void test_broken_sids(void **state)
{
	static const uint8_t cut[] = {1, 2, 0, 0, 0, 0, 0, 5, 32, 0, 0, 0};
	static const uint8_t revision[] = {2, 1, 0, 0, 0, 0, 0, 5, 18, 0, 0, 0};
	static const uint8_t too_many[] = {1, 16, 0, 0, 0, 0, 0, 5};

	(void)state;
	check_sid(cut, sizeof(cut), "");
	check_sid(cut, 3, "");
	check_sid(revision, sizeof(revision), "");
	check_sid(too_many, sizeof(too_many), "");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_shell_link_example),
	    cmocka_unit_test(test_not_guids),
	    cmocka_unit_test(test_sids),
	    cmocka_unit_test(test_broken_sids),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
