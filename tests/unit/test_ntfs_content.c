/*
 * Tests of src/ntfs: what can be had of a stream, by its reparse tag and the clusters that it has.
 *
 * Sources: [MS-FSCC] 2.1.2.1 (reparse tags), 2.6 (attributes). That a file of which nothing or only
 * a part is on the drive is sparse there: common practice, no source.
 */
#include "unit.h"

#include "ntfs/data.h"
#include "ntfs/reparse.h"
#include "ntfs/runs.h"

#include <string.h>

#define CLUSTER 4096u

/* What a stream of four clusters is made of. */
enum cover { NOTHING, HALF, ALL, LOST };

static enum content content_of(uint32_t tag, uint32_t attributes, enum cover cover)
{
	static const uint64_t firsts[] = {RUN_SPARSE, 100, 100, RUN_LOST};
	static const uint64_t seconds[] = {RUN_SPARSE, RUN_SPARSE, 102, RUN_LOST};
	const struct run runs[] = {{.vcn = 0, .lcn = firsts[cover], .length = 2},
	    {.vcn = 2, .lcn = seconds[cover], .length = 2}};
	struct volume volume = {.cluster_size = CLUSTER, .clusters = 1000};
	struct node node = {
	    .flags = NODE_IN_USE, .reparse_tag = tag, .attributes = attributes, .n_streams = 1};
	struct stream stream = {
	    .size = 4 * CLUSTER - 5, .initialized = 4 * CLUSTER - 5, .flags = STREAM_SPARSE};
	struct catalogue catalogue = {.volume = &volume,
	    .nodes = &node,
	    .n_nodes = 1,
	    .streams = &stream,
	    .n_streams = 1,
	    .names = (char[1]){""},
	    .names_length = 1};
	struct buf packed = {0};
	enum content content;

	runs_pack(&packed, runs, 2);
	assert_false(packed.failed);
	catalogue.runs = packed.data;
	catalogue.runs_length = packed.length;
	content = data_content(&catalogue, &stream);
	buf_free(&packed);
	return content;
}

/* Zeros are content only where nothing says that the bytes may lie elsewhere. */
static void test_sparse_behind_tags(void **state)
{
	static const struct {
		uint32_t tag, attributes;
		enum content nothing, half;
	} rows[] = {
	    {0, 0, CONTENT_READABLE, CONTENT_READABLE},
	    {REPARSE_SIS, ATTRIBUTE_REPARSE_POINT, CONTENT_DEDUPLICATED, CONTENT_DEDUPLICATED},
	    {0xC0000004, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x80000006, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x80000015, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x80000021, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    /* moved without any tag: the attributes alone say so */
	    {0, ATTRIBUTE_OFFLINE, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0, ATTRIBUTE_RECALL_ON_OPEN, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0, ATTRIBUTE_RECALL_ON_DATA_ACCESS, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0, ATTRIBUTE_SPARSE_FILE | ATTRIBUTE_PINNED, CONTENT_READABLE, CONTENT_READABLE},
	    {REPARSE_WOF, ATTRIBUTE_REPARSE_POINT, CONTENT_SYSTEM_COMPRESSED,
		CONTENT_SYSTEM_COMPRESSED},
	    {REPARSE_DEDUP, ATTRIBUTE_REPARSE_POINT, CONTENT_DEDUPLICATED, CONTENT_DEDUPLICATED},
	    /* a projected file, storage sync, a container's layer, and one that nobody knows */
	    {0x9000001C, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x8000001E, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x80000018, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    {0x000000F9, ATTRIBUTE_REPARSE_POINT, CONTENT_CLOUD_ONLY, CONTENT_CLOUD_PART},
	    /* the attribute with the tag could not be read */
	    {0, ATTRIBUTE_REPARSE_POINT, CONTENT_DAMAGED, CONTENT_CLOUD_PART},
	};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		assert_int_equal(
		    content_of(rows[i].tag, rows[i].attributes, NOTHING), rows[i].nothing);
		assert_int_equal(content_of(rows[i].tag, rows[i].attributes, HALF), rows[i].half);
		/* What is whole on the drive is read, and what is lost is a loss. */
		assert_int_equal(
		    content_of(rows[i].tag, rows[i].attributes, ALL), CONTENT_READABLE);
		assert_int_equal(
		    content_of(rows[i].tag, rows[i].attributes, LOST), CONTENT_DAMAGED);
	}
}

/* A file of the cloud family that is sparse by itself: only where nothing of it is marked away. */
static void test_cloud_family(void **state)
{
	static const struct {
		uint32_t attributes;
		enum content half;
	} rows[] = {
	    {0, CONTENT_READABLE},
	    {ATTRIBUTE_PINNED, CONTENT_READABLE},
	    {ATTRIBUTE_UNPINNED, CONTENT_CLOUD_PART},
	    {ATTRIBUTE_OFFLINE, CONTENT_CLOUD_PART},
	    {ATTRIBUTE_RECALL_ON_OPEN, CONTENT_CLOUD_PART},
	    {ATTRIBUTE_PINNED | ATTRIBUTE_RECALL_ON_DATA_ACCESS, CONTENT_CLOUD_PART},
	};

	(void)state;
	for (uint32_t tag = REPARSE_CLOUD; tag <= 0x9000F01A; tag += 0x1000) {
		for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
			uint32_t attributes = ATTRIBUTE_REPARSE_POINT | rows[i].attributes;

			assert_int_equal(content_of(tag, attributes, HALF), rows[i].half);
			assert_int_equal(
			    content_of(tag, attributes, NOTHING), CONTENT_CLOUD_ONLY);
			assert_int_equal(content_of(tag, attributes, ALL), CONTENT_READABLE);
			assert_int_equal(content_of(tag, attributes, LOST), CONTENT_DAMAGED);
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_sparse_behind_tags),
	    cmocka_unit_test(test_cloud_family),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
