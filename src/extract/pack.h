/*
 * Compressing one chunk of a file: a pure function of its bytes, so that it does not matter which
 * thread does it, or when.
 */
#ifndef EXTRACT_PACK_H
#define EXTRACT_PACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * The longest chunk. Nothing in a chunk refers to what was before it, which costs 0.4 % of the size
 * at most (measured with texts and programs; up to 1.8 % with 256 KiB), and threads share a file
 * from its second MiB on.
 */
#define PACK_CHUNK ((size_t)1 << 20)

struct libdeflate_compressor;

/* What a thread needs for it. All zeros is valid; memory is taken when it is needed first. */
struct packer {
	struct libdeflate_compressor *compressor;
	uint8_t *scratch;
};
void packer_free(struct packer *packer);

struct packing {
	/* The chunk ends its file, and so the deflate stream; otherwise another can follow it. */
	bool is_last;
	/*
	 * Take samples before, and leave alone what they say will not shrink. Must be off where an
	 * upper bound counts on ranges of zeros becoming small, however short they are.
	 */
	bool may_sample;
};

/*
 * Compresses `length` bytes (at most PACK_CHUNK) in place. *packed is what they take then; `length`
 * when they do not become smaller: then they are as before. False when memory ran out.
 */
bool pack_chunk(struct packer *packer, const struct packing *packing, uint8_t *data, size_t length,
    size_t *packed);

#endif
