/* One file or folder of a part against what is claimed about it: see verify_internal.h. */
#include "extract/verify_internal.h"

#include <inttypes.h>
#include <string.h>

#define LARGEST_UNKNOWN (UINT64_C(1) << 40) /* bytes of a file whose size nothing tells */

bool member_folder(struct verify *verify, const char *path, struct error *error)
{
	struct claim *claim = table_put(verify, path, error);

	if (claim == NULL)
		return false;
	claim->flags |= CLAIM_FOLDER | CLAIM_SEEN | CLAIM_ENTRY;
	return table_mark_above(verify, path, CLAIM_SEEN, error);
}

/* Ticks a file off. *known is false when there is nothing to check it against, which was told. */
static bool tick(struct verify *verify, uint32_t part, struct claim *claim, const char *path,
    bool *known, struct error *error)
{
	const char *name = verify->parts[part].name;

	*known = false;
	if (claim == NULL || (claim->flags & (CLAIM_DIGEST | CLAIM_RECORD)) == 0)
		return differ(verify, error, DIFFERS_EXTRA, path,
		    "%s holds it, but neither proof nor record know it.", name);
	if ((claim->flags & CLAIM_SEEN) != 0)
		return differ(verify, error, DIFFERS_TWICE, path,
		    "%s holds it once more.", name);
	*known = true;
	claim->flags |= CLAIM_SEEN;
	if (claim->part != VERIFY_NONE && claim->part != part)
		return differ(verify, error, DIFFERS_PLACE, path,
		    "It lies in %s, but the record says %s.", name,
		    verify->parts[claim->part].name);
	return true;
}

bool member_link(struct verify *verify, uint32_t part, const char *path, const char *target,
    struct error *error)
{
	struct claim *claim = table_find(verify, path), *first;
	bool known;

	verify->result->n_files++;
	if (!table_mark_above(verify, path, CLAIM_SEEN, error) ||
	    !tick(verify, part, claim = table_find(verify, path), path, &known, error))
		return false;
	first = path_is_payload(target) ? table_find(verify, target) : NULL;
	if (first == NULL || (first->flags & CLAIM_SEEN) == 0 || (first->flags & CLAIM_FOLDER) != 0)
		return differ(verify, error, DIFFERS_BYTES, path,
		    "It is a second name of a file that %s does not hold.",
		    verify->parts[part].name);
	if ((first->flags & CLAIM_SIZE) != 0)
		verify->result->file_bytes += first->size;
	if (!known)
		return true;
	if ((claim->flags & CLAIM_DIGEST) == 0 || (first->flags & CLAIM_GOOD) == 0 ||
	    !digest_equal(&claim->digest, &first->digest))
		return differ(verify, error, DIFFERS_BYTES, path,
		    "It is a second name of a file with other bytes than were recorded for it.");
	claim->flags |= CLAIM_GOOD;
	return true;
}

bool member_begin(struct member_check *check, struct verify *verify, uint32_t part,
    const char *path, struct error *error)
{
	bool known;

	*check = (struct member_check){.verify = verify, .part = part, .path = path};
	sha256_init(&check->hash);
	verify->result->n_files++;
	/* Folders first: they may make the table move. */
	if (!table_mark_above(verify, path, CLAIM_SEEN, error))
		return false;
	check->claim = table_find(verify, path);
	if (!tick(verify, part, check->claim, path, &known, error))
		return false;
	if (!known)
		check->claim = NULL;
	if (check->claim != NULL && check->claim->whole != VERIFY_NONE) {
		struct whole *whole = &verify->wholes[check->claim->whole];

		/* Pieces that come in another order are joined in a second pass. */
		if (whole->next == check->claim->piece)
			check->whole = whole;
	}
	return true;
}

/* Is there room for `length` more bytes in what the file may have? */
static bool fits(struct member_check *check, uint64_t length)
{
	uint64_t limit = LARGEST_UNKNOWN;

	if (check->claim != NULL && (check->claim->flags & CLAIM_SIZE) != 0)
		limit = check->claim->size;
	else if (check->claim != NULL && check->claim->whole != VERIFY_NONE)
		limit = check->verify->wholes[check->claim->whole].size;
	if (length <= limit && check->size <= limit - length)
		return true;
	check->is_too_long = true;
	return false;
}

void member_data(struct member_check *check, const void *data, size_t length)
{
	if (check->is_too_long || !fits(check, length))
		return;
	sha256_update(&check->hash, length, data);
	if (check->whole != NULL)
		sha256_update(&check->whole->hash, length, data);
	check->size += length;
	check->verify->bytes_done += length;
	progress_at(&check->verify->progress, check->verify->bytes_done, check->path);
}

void member_zeros(struct member_check *check, uint64_t length)
{
	while (length > 0 && !check->is_too_long) {
		/* In steps, so that progress is shown in a long run of zeros. */
		uint64_t step = length < (64 << 20) ? length : 64 << 20;

		if (!fits(check, length))
			return;
		digest_zeros(&check->hash, step);
		if (check->whole != NULL)
			digest_zeros(&check->whole->hash, step);
		check->size += step;
		length -= step;
		check->verify->bytes_done += step;
		progress_at(&check->verify->progress, check->verify->bytes_done, check->path);
	}
}

static bool tell_size(struct member_check *check, struct error *error)
{
	if (check->is_too_long)
		return differ(check->verify, error, DIFFERS_SIZE, check->path,
		    "It is longer than the %" PRIu64 " bytes that were recorded.",
		    check->claim != NULL && (check->claim->flags & CLAIM_SIZE) != 0 ?
			check->claim->size : check->size);
	return differ(check->verify, error, DIFFERS_SIZE, check->path,
	    "It has %" PRIu64 " bytes; %" PRIu64 " were recorded.", check->size,
	    check->claim->size);
}

bool member_end(struct member_check *check, const char *reason, struct error *error)
{
	struct claim *claim = check->claim;
	struct digest digest = digest_take(&check->hash);
	bool same_size, same_bytes;

	check->verify->result->file_bytes += check->size;
	if (reason != NULL)
		return differ(check->verify, error, DIFFERS_BYTES, check->path,
		    "It cannot be read to its end in %s: %s.",
		    check->verify->parts[check->part].name, reason);
	if (check->is_too_long)
		return tell_size(check, error);
	if (claim == NULL)
		return true;
	same_size = (claim->flags & CLAIM_SIZE) == 0 || claim->size == check->size;
	same_bytes = (claim->flags & CLAIM_DIGEST) != 0 && digest_equal(&claim->digest, &digest);
	if (!same_size && !tell_size(check, error))
		return false;
	/* Another size with other bytes is one difference, not two. */
	if (!same_bytes && same_size)
		return differ(check->verify, error, DIFFERS_BYTES, check->path,
		    "Its bytes are not those that were recorded (SHA-256 differs).");
	if (!same_bytes || !same_size)
		return true;
	claim->flags |= CLAIM_GOOD;
	if ((claim->flags & CLAIM_SIZE) == 0) { /* a piece: second names of it are possible */
		claim->size = check->size;
		claim->flags |= CLAIM_SIZE;
	}
	if (check->whole != NULL)
		check->whole->next++;
	return true;
}
