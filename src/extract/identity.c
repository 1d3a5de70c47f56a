/* Are these the same drives: see identity.h. */
#include "extract/identity.h"

#include "base/bytes.h"
#include "base/text.h"
#include "extract/items.h"

#include <stdio.h>
#include <string.h>

static void add_number(struct sha256_ctx *hash, uint64_t number)
{
	uint8_t bytes[8];

	for (unsigned i = 0; i < sizeof(bytes); i++)
		bytes[i] = (uint8_t)(number >> (8 * i));
	sha256_update(hash, sizeof(bytes), bytes);
}

static void add_text(struct sha256_ctx *hash, const char *text)
{
	sha256_update(hash, strlen(text) + 1, (const uint8_t *)text);
}

static void add_volume(struct sha256_ctx *hash, const struct survey_volume *volume)
{
	add_number(hash, volume->partition->offset);
	add_number(hash, volume->partition->length);
	add_number(hash, volume->filesystem);
	if (volume->volume == NULL)
		return;
	add_number(hash, volume->volume->serial);
	add_number(hash, volume->volume->clusters);
	add_number(hash, volume->volume->cluster_size);
	add_number(hash, volume->volume->table_lcn);
}

struct identity identity_of(const struct survey *survey, size_t drive)
{
	const struct survey_drive *on = &survey->drives[drive];
	struct identity identity = {.path = on->about.path, .model = on->about.model,
	    .serial = on->about.serial, .size = source_size(on->source)};
	struct sha256_ctx hash;

	sha256_init(&hash);
	add_number(&hash, identity.size);
	add_number(&hash, on->table.kind);
	add_number(&hash, on->table.disk_signature);
	sha256_update(&hash, sizeof(on->table.disk_id.bytes), on->table.disk_id.bytes);
	for (size_t i = 0; i < survey->n_volumes; i++)
		if (survey->volumes[i].drive == drive)
			add_volume(&hash, &survey->volumes[i]);
	identity.digest = digest_take(&hash);
	return identity;
}

/* --- which is which --- */

struct shown {
	char text[300];
};

/* "'/dev/sdb' (Plum P-7, serial 0815, 500 GB)" */
static struct shown show(const struct identity *identity)
{
	struct shown shown;

	snprintf(shown.text, sizeof(shown.text), "'%.100s' (%.60s%s%s%.40s%s%s)", identity->path,
	    identity->model, *identity->model != '\0' ? ", " : "",
	    *identity->serial != '\0' ? "serial " : "", identity->serial,
	    *identity->serial != '\0' ? ", " : "", text_size(identity->size).text);
	return shown;
}

static bool is_taken(const size_t *order, size_t count, size_t drive)
{
	for (size_t i = 0; i < count; i++)
		if (order[i] == drive)
			return true;
	return false;
}

/* A drive that is not there: perhaps another one is in its place. */
static bool is_missing(
    const struct survey *survey, const struct identity *known, struct error *error)
{
	for (size_t i = 0; i < survey->n_drives; i++)
		if (strcmp(survey->drives[i].about.path, known->path) == 0)
			return error_set(error, STATUS_USAGE,
			    "the job was begun with another drive than this: it was %s; connect "
			    "that one, or begin a new job without --resume",
			    show(known).text);
	return error_set(error, STATUS_USAGE,
	    "a drive that the job was begun with is not among these: %s; name it, too, or begin a "
	    "new job without --resume",
	    show(known).text);
}

bool identity_match(const struct survey *survey, const struct identity *known, size_t count,
    bool more, size_t *order, struct error *error)
{
	for (size_t i = 0; i < count; i++) {
		order[i] = SIZE_MAX;
		for (size_t d = 0; d < survey->n_drives && order[i] == SIZE_MAX; d++) {
			struct identity identity = identity_of(survey, d);

			if (digest_equal(&identity.digest, &known[i].digest) &&
			    !is_taken(order, i, d))
				order[i] = d;
		}
		if (order[i] == SIZE_MAX)
			return is_missing(survey, &known[i], error);
	}
	for (size_t d = 0; !more && d < survey->n_drives; d++) {
		struct identity identity = identity_of(survey, d);

		if (!is_taken(order, count, d))
			return error_set(error, STATUS_USAGE,
			    "the job was begun without the drive %s; leave it out",
			    show(&identity).text);
	}
	return true;
}

/* --- the plan --- */

static void add_item(struct sha256_ctx *hash, const struct plan *plan, const struct item *item)
{
	const struct node *node = item_node(plan, item);

	add_number(hash, (uint64_t)item->volume << 32 | item->entry);
	add_number(hash, (uint64_t)item->stream << 32 | item->group);
	add_number(hash, (uint64_t)item->base << 32 | (uint64_t)item->form << 24 |
	    (uint64_t)item->kind << 16 | (uint64_t)item->state << 8 | item->reason);
	add_number(hash, item_size(plan, item));
	add_number(hash, (uint64_t)node->modified);
	add_number(hash, (uint64_t)node->changed);
}

struct digest identity_of_plan(const struct plan *plan)
{
	struct sha256_ctx hash;

	sha256_init(&hash);
	add_number(&hash, plan->n_groups);
	for (size_t i = 0; i < plan->n_groups; i++) {
		add_text(&hash, plan->groups[i].key);
		add_text(&hash, plan->groups[i].folder);
	}
	for (size_t i = 0; i < plan->survey->n_deleted; i++)
		add_text(&hash, plan->survey->deleted[i].was ? plan->survey->deleted[i].was : "");
	add_number(&hash, plan->n_items);
	for (size_t i = 0; i < plan->n_items; i++)
		add_item(&hash, plan, &plan->items[i]);
	return digest_take(&hash);
}
