/*
 * Fuzz target: the decompression path. The input's first bytes choose method and size; the rest is
 * what the volume holds: the compressed stream of a system-compressed file (table and chunks), or
 * the units of a file that the file system compressed, read through data_read() as any file is.
 */
#include "memory_image.h"
#include "ntfs/data.h"
#include "ntfs/runs.h"
#include "ntfs/wof.h"

#include <stdlib.h>
#include <string.h>

#define CLUSTER 512u
#define IMAGE 65536u

struct image {
	uint8_t bytes[IMAGE];
};

static void check(bool truth)
{
	if (!truth)
		abort();
}

/* Reads the stream to its end, in pieces of many lengths. */
static void read_all(const struct catalogue *catalogue, const struct stream *stream)
{
	static uint8_t bytes[70000];
	struct data_reader *reader = data_open(catalogue, stream);
	struct holes holes = {0};
	uint64_t done = 0;

	check(reader != NULL);
	for (unsigned i = 0; done < stream->size; i++) {
		size_t got = data_read(reader, bytes, 1 + (i * 7919u) % 60000u, &holes);

		check(got > 0 && got <= stream->size - done);
		for (size_t k = 0; k < got; k++)
			check(bytes[k] == 0 || !holes_meet(&holes, done + k, 1));
		done += got;
	}
	for (size_t i = 0; i < holes.count; i++)
		check(holes.items[i].offset + holes.items[i].length <= stream->size);
	data_content(catalogue, stream);
	data_close(reader);
	holes_free(&holes);
}

/* The catalogue of one file whose bytes lie at the volume's start. */
static void read_file(struct volume *volume, unsigned method, uint64_t size, uint64_t packed)
{
	struct node node = {.flags = NODE_IN_USE, .reparse_tag = 0x80000017u, .n_streams = 2};
	struct stream streams[2] = {{.size = size, .initialized = size, .name = 0},
	    {.size = packed, .initialized = packed, .allocated = packed, .name = 1}};
	struct catalogue catalogue = {.volume = volume,
	    .nodes = &node,
	    .n_nodes = 1,
	    .streams = streams,
	    .n_streams = 2,
	    .names = (char[]){"\0packed"},
	    .names_length = 8};
	struct run runs[64];
	size_t n_runs = 0;
	struct buf list = {0};

	if (method == WOF_NONE) {
		/* Units of 16 clusters, ever fewer of which are there. */
		streams[0].flags = STREAM_COMPRESSED;
		streams[0].unit_shift = 4;
		for (unsigned i = 0; i < 8 && n_runs < 60; i++) {
			runs[n_runs++] = (struct run){16 * i, 16 * i, 16 - i};
			if (i > 0)
				runs[n_runs++] = (struct run){16 * i + 16 - i, RUN_SPARSE, i};
		}
	} else {
		streams[0].flags = STREAM_CARRIED;
		streams[0].method = (uint8_t)method;
		streams[1].flags = STREAM_CARRIER;
		if (!wof_is_plausible((enum wof_method)method, size, packed))
			return;
		runs[n_runs++] = (struct run){0, 0, IMAGE / CLUSTER};
	}
	runs_pack(&list, runs, n_runs);
	check(!list.failed);
	catalogue.runs = list.data;
	catalogue.runs_length = list.length;
	read_all(&catalogue, &streams[0]);
	buf_free(&list);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct image image;
	static struct memory_image drive = {image.bytes, IMAGE, 40};
	static struct source *source;
	struct volume volume = {.cluster_size = CLUSTER,
	    .sector_size = 512,
	    .record_size = 1024,
	    .clusters = IMAGE / CLUSTER,
	    .length = IMAGE};
	uint64_t length;

	if (size < 4)
		return 0;
	memset(image.bytes, 0, IMAGE);
	memcpy(image.bytes, data + 4, size - 4 < IMAGE ? size - 4 : IMAGE);
	if (source == NULL)
		source = memory_image_open(&drive);
	check(source != NULL);
	volume.source = source;
	length = 1 + data[1] + 256u * data[2];
	if (data[0] % 5 == WOF_NONE)
		length = 1 + length % (8 * 16 * CLUSTER);
	else
		length = 1 + length * 5;
	read_file(&volume, data[0] % 5, length, 1 + 257u * data[3] % IMAGE);
	return 0;
}
