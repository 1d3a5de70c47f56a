/*
 * Tests of the elements of small XML files, after XML 1.0; with whole files:
 * tests/run/devices_readers.py, against Python's parser.
 */
#include "unit.h"

#include "base/buf.h"
#include "system/xml_element.h"

#include <string.h>

static void expect(const char *xml, const char *path, const char *wanted)
{
	struct arena arena = {0};
	char *text = xml_element(xml, path, &arena);

	if (wanted)
		assert_string_equal(text ? text : "(none)", wanted);
	else
		assert_null(text);
	assert_int_equal(xml_has(xml, path), wanted != NULL);
	arena_free(&arena);
}

static void test_elements(void **state)
{
	static const char xml[] = "<?xml version='1.0'?><a:r x='1>0'><p><q>deep</q></p><q/>"
				  "<q> first &amp; &#x41; </q><s>one<t>two</t></s></a:r>";

	(void)state;
	expect(xml, "r/q", "");
	expect(xml, "r/p/q", "deep");
	expect(xml, "r/s", "one");
	expect(xml, "r/s/t", "two");
	expect(xml, "q", NULL);
	expect(xml, "r/p/q/z", NULL);
	expect("<r><q> first &amp; &#x41; </q></r>", "r/q", "first & A");
}

static void test_what_is_no_xml(void **state)
{
	static const char *const texts[] = {
	    "", "<", "<>", "</>", "<a", "<a b=\"", "<!--", "<![CDATA[", "</a></a>"};
	struct buf deep = {0};

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++)
		expect(texts[i], "a/b", NULL);
	/* More elements open than any path reaches, and more closed than were opened. */
	for (size_t i = 0; i < 5000; i++)
		buf_add_text(&deep, "<a>");
	expect(buf_text(&deep), "a/a/a/b", NULL);
	expect("</x></x><a><b>there</b>", "a/b", "there");
	expect("<a><!-- <b>no</b> --><![CDATA[<b>no</b>]]><b>yes</b></a>", "a/b", "yes");
	buf_free(&deep);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_elements),
	    cmocka_unit_test(test_what_is_no_xml),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
