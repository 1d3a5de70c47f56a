/*
 * Tests of src/base: arena, buffer, findings. Plain properties, no outside source applies.
 */
#include "unit.h"

#include "base/arena.h"
#include "base/buf.h"
#include "base/finding.h"

#include <string.h>

/* Pieces are zeroed, aligned, and do not overlap, whatever the order of sizes. */
static void test_arena(void **state)
{
	struct arena arena = {0};
	unsigned char *pieces[600];
	size_t sizes[600];

	(void)state;
	for (size_t i = 0; i < 600; i++) {
		sizes[i] = i % 50 == 49 ? 100000 : i * 7 % 300;
		pieces[i] = arena_alloc(&arena, sizes[i]);
		assert_non_null(pieces[i]);
		assert_int_equal((uintptr_t)pieces[i] % _Alignof(max_align_t), 0);
		for (size_t j = 0; j < sizes[i]; j++)
			assert_int_equal(pieces[i][j], 0);
		memset(pieces[i], (int)(i % 255) + 1, sizes[i]);
	}
	for (size_t i = 0; i < 600; i++)
		for (size_t j = 0; j < sizes[i]; j++)
			assert_int_equal(pieces[i][j], i % 255 + 1);
	assert_null(arena_alloc(&arena, SIZE_MAX));
	assert_null(arena_array(&arena, SIZE_MAX / 2, 4));
	assert_string_equal(arena_printf(&arena, "%s-%d", "plot", 7), "plot-7");
	arena_free(&arena);
}

static void test_buf(void **state)
{
	struct buf buf = {0};

	(void)state;
	assert_string_equal(buf_text(&buf), "");
	for (int i = 0; i < 1000; i++)
		buf_printf(&buf, "%d,", i % 10);
	assert_int_equal(buf.length, 2000);
	assert_int_equal(strlen(buf_text(&buf)), 2000);
	assert_null(buf_reserve(&buf, SIZE_MAX - 10));
	assert_true(buf.failed);
	buf_clear(&buf);
	assert_false(buf.failed);
	buf_add(&buf, "a\0b", 3);
	assert_int_equal(buf.length, 3);
	buf_free(&buf);
}

static void test_findings(void **state)
{
	struct findings findings;
	struct buf text = {0};

	(void)state;
	findings_init(&findings);
	findings_add(&findings, WEIGHT_NOTE, "a", "C:", "", "First.");
	findings_add(&findings, WEIGHT_LOSS, "b", "C:", "Do it.", "Lost %d.", 3);
	findings_add(&findings, WEIGHT_NOTE, "a", "C:", "", "First.");
	findings_add(&findings, WEIGHT_LOSS, "b", "D:", "Do it.", "Lost %d.", 3);
	findings_add(&findings, WEIGHT_CAUTION, "c", "", "", "Look.");
	findings_sort(&findings);
	assert_int_equal(findings.count, 4); /* the repeated one is dropped */
	assert_string_equal(findings.items[0].subject, "C:");
	assert_string_equal(findings.items[1].subject, "D:");
	assert_int_equal(findings.items[2].weight, WEIGHT_CAUTION);
	assert_int_equal(findings_count(&findings, WEIGHT_LOSS), 2);
	assert_true(findings_have(&findings, "c"));
	assert_false(findings_have(&findings, "d"));
	for (size_t i = 0; i < findings.count; i++)
		finding_to_text(&findings.items[i], &text);
	assert_string_equal(buf_text(&text), "C: Lost 3. Do it.D: Lost 3. Do it.Look.C: First.");
	buf_free(&text);
	findings_add(NULL, WEIGHT_NOTE, "a", "", "", "Nothing happens.");
	findings_free(&findings);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_arena),
	    cmocka_unit_test(test_buf),
	    cmocka_unit_test(test_findings),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
