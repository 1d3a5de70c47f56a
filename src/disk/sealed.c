/* Drives that look encrypted or locked as a whole; see sealed.h. */
#include "disk/sealed.h"

#include "base/moment.h"

#include <stdlib.h>

#define PLACES 16u
#define SAMPLE 8192u
#define REFUSALS 8u
/* A refusal that took longer than this was none: the drive tried. Milliseconds, for one place. */
#define AT_ONCE 1500

bool sealed_is_random(const uint8_t *bytes, size_t length)
{
	uint32_t counts[256] = {0};
	double expected = (double)length / 256, sum = 0;

	if (length < 4096)
		return false;
	for (size_t i = 0; i < length; i++)
		counts[bytes[i]]++;
	/*
	 * Pearson's chi-square test for 255 degrees of freedom: chance gives 255 with a standard
	 * deviation of 22.6. Compressed files mostly give far more than six of these above it, and
	 * a counter far less.
	 */
	for (size_t i = 0; i < 256; i++)
		sum += (counts[i] - expected) * (counts[i] - expected) / expected;
	return sum > 255 - 6 * 22.6 && sum < 255 + 6 * 22.6;
}

/* The place number `index` of `count`, from the first sector to the last sample of the drive. */
static uint64_t place(struct source *source, unsigned index, unsigned count)
{
	uint32_t sector = source_sector_size(source);
	uint64_t last = (source_size(source) - SAMPLE) / sector;

	/* A drive has fewer sectors than 2^55. */
	return last * index / (count - 1) * sector;
}

static bool refuses(struct source *source)
{
	uint8_t sector[512];

	for (unsigned i = 0; i < REFUSALS; i++) {
		int64_t began = moment_now();

		if (source_read(source, place(source, i, REFUSALS), sector, sizeof(sector), NULL) ||
		    source_is_lost(source) || moment_now() - began > AT_ONCE)
			return false;
	}
	return true;
}

static bool is_random_everywhere(struct source *source, uint8_t *sample)
{
	for (unsigned i = 0; i < PLACES; i++)
		if (!source_read(source, place(source, i, PLACES), sample, SAMPLE, NULL) ||
		    !sealed_is_random(sample, SAMPLE))
			return false;
	return true;
}

enum sealed sealed_look(struct source *source)
{
	enum sealed found = SEALED_NOT;
	uint8_t *sample;

	if (source_size(source) < PLACES * SAMPLE || source_is_lost(source))
		return SEALED_NOT;
	sample = malloc(SAMPLE);
	if (sample == NULL)
		return SEALED_NOT;
	if (!source_read(source, 0, sample, 512, NULL))
		found = refuses(source) ? SEALED_REFUSES : SEALED_NOT;
	else if (is_random_everywhere(source, sample))
		found = SEALED_RANDOM;
	free(sample);
	return found;
}
