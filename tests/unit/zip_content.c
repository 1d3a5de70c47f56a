/* What goes into parts: see zip_content.h. */
#include "unit.h"

#include "scratch.h"
#include "zip_content.h"

#include "base/bytes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

uint8_t *noise, *words;

int make_content(void **state)
{
	uint64_t random = 88172645463325252;

	(void)state;
	noise = malloc(20 * MIB);
	words = malloc(20 * MIB);
	assert_true(noise != NULL && words != NULL);
	for (size_t i = 0; i < 20 * MIB; i += 8) {
		random ^= random << 13;
		random ^= random >> 7;
		random ^= random << 17;
		put_u64(noise + i, random);
		memcpy(words + i, "000", 3);
		for (unsigned n = (unsigned)(random % 5000), at = 7; at-- > 3; n /= 10)
			words[i + at] = (uint8_t)('0' + n % 10);
		words[i + 7] = random % 7 == 0 ? '\n' : ' ';
	}
	return 0;
}

int free_content(void **state)
{
	(void)state;
	free(noise);
	free(words);
	return 0;
}

static uint32_t lazy_random = 1;

bool hand_over(struct writer *writer, const uint8_t *data, size_t length,
    const struct manner *manner, struct error *error)
{
	while (length > 0) {
		size_t now = manner->slice == 0 || manner->slice > length ? length : manner->slice;

		lazy_random = lazy_random * 1664525 + 1013904223;
		if (manner->pause > 0 && lazy_random >> 29 == 0)
			usleep(lazy_random % manner->pause);
		if (!writer_data(writer, data, now, error))
			return false;
		data += now;
		length -= now;
	}
	return true;
}

bool add_file(struct writer *writer, const char *path, const uint8_t *data, size_t length,
    bool is_compact, const struct manner *manner, struct error *error)
{
	struct member member = {.kind = MEMBER_FILE, .path = path, .size = length,
	    .modified = INT64_C(132000000000000000), .is_compact = is_compact};

	return writer_begin(writer, &member, error) &&
	    hand_over(writer, data, length, manner, error) && writer_end(writer, error);
}

/* A gap of zeros between two bits of data, 24 MiB in all. */
static bool add_sparse(struct writer *writer, const char *path, const struct manner *manner,
    struct error *error)
{
	const struct hole data[] = {{0, 3 * MIB + 5}, {20 * MIB, 4 * MIB}};
	struct member member = {.kind = MEMBER_FILE, .path = path, .size = 24 * MIB, .data = data,
	    .n_data = 2};

	return writer_begin(writer, &member, error) &&
	    hand_over(writer, noise, 3 * MIB + 5, manner, error) &&
	    writer_zeros(writer, 17 * MIB - 5, error) &&
	    hand_over(writer, words, 4 * MIB, manner, error) && writer_end(writer, error);
}

/* Every way that a member can take: tiny, whole in one chunk, held, too large to be held. */
static bool add_all(struct writer *writer, const struct manner *manner, struct error *error)
{
	static const struct {
		size_t length;
		bool is_noise, is_compact;
	} files[] = {{0, false, false}, {1, false, false}, {5000, false, false},
	    {5000, true, false}, {MIB - 1, false, false}, {MIB, false, false},
	    {MIB + 1, false, false}, {MIB, true, false}, {3 * MIB, true, false},
	    {3 * MIB + 77, false, false}, {8 * MIB, false, false}, {8 * MIB + 1, true, false},
	    {9 * MIB, false, false}, {9 * MIB, true, true}, {700, true, true},
	    {2 * MIB, false, true}};
	struct member place = {.kind = MEMBER_FOLDER, .path = "data/Zoë", .modified = 1};
	char path[40];

	if (!writer_begin(writer, &place, error) || !writer_end(writer, error))
		return false;
	for (size_t i = 0; i < sizeof(files) / sizeof(files[0]); i++) {
		snprintf(path, sizeof(path), "data/Zoë/%02zu", i);
		if (!add_file(writer, path, (files[i].is_noise ? noise : words) + 8 * i,
			files[i].length, files[i].is_compact, manner, error))
			return false;
	}
	for (unsigned i = 0; i < 700; i++) {
		snprintf(path, sizeof(path), "data/small/%u", i);
		if (!add_file(writer, path, words + 100 * i, i * 3, false, manner, error))
			return false;
	}
	return add_sparse(writer, "data/sparse", manner, error);
}

void check_digest(const char *name, const struct digest *digest)
{
	char script[300];

	snprintf(script, sizeof(script), "echo '%s  %s' | sha256sum --status -c -",
	    digest_to_text(digest).text, name);
	assert_int_equal(shell(script), 0);
}

struct digest write_zip(const char *name, unsigned workers, const struct manner *manner)
{
	struct writer_options options = {.workers = workers};
	struct error error;
	struct writer *writer = writer_open(FORMAT_ZIP, inside(name), &options, &error);
	struct digest digest;

	assert_non_null(writer);
	assert_true(add_all(writer, manner, &error));
	assert_true(writer_finish(writer, &digest, &error));
	return digest;
}
