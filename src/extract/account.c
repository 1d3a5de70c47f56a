/* account.json: see account.h. */
#include "extract/account.h"

#include "base/json.h"
#include "base/text.h"
#include "extract/items.h"
#include "extract/record.h"
#include "extract/rounds.h"

#include <stdlib.h>

/* Owners beside the states. */
enum {
	OWNER_FILE_SYSTEM = STATE_COUNT,
	OWNER_INDEXES,  /* folder indexes, and what else folders have */
	OWNER_UNLISTED, /* streams that stand in no line of the record */
	OWNER_COUNT,
};

struct volume_account {
	uint64_t clusters[OWNER_COUNT];
	uint8_t *owner; /* of every stream of the catalogue */
};

/*
 * Who owns each stream: the first item that stands for it (those that are left come last), since
 * second names share it.
 */
static void own_streams(struct volume_account *account, const struct outcomes *outcomes,
    size_t volume)
{
	const struct plan *plan = outcomes->plan;

	for (size_t i = 0; i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (item->volume != volume || item->stream == NONE ||
		    (account->owner[item->stream] != OWNER_UNLISTED &&
			account->owner[item->stream] != STATE_SAME))
			continue;
		account->owner[item->stream] =
		    item->reason == REASON_FILE_SYSTEM && item->state == STATE_LEFT ?
		    OWNER_FILE_SYSTEM : outcome_of(outcomes, i).state;
	}
}

/* Who a stream's clusters are for: a carrier's belong to the file that it carries. */
static unsigned owner_of(const struct volume_account *account, const struct catalogue *catalogue,
    const struct node *node, size_t stream)
{
	if ((node->flags & NODE_SYSTEM) != 0)
		return OWNER_FILE_SYSTEM;
	if ((catalogue->streams[stream].flags & STREAM_CARRIER) != 0)
		stream = node->first_stream;
	return account->owner[stream];
}

static bool add_up(struct volume_account *account, const struct outcomes *outcomes, size_t volume)
{
	const struct catalogue *catalogue =
	    outcomes->plan->survey->volumes[volume].volume->catalogue;
	uint64_t cluster = catalogue->volume->cluster_size;

	*account = (struct volume_account){.owner = malloc(catalogue->n_streams + 1)};
	if (account->owner == NULL)
		return false;
	for (size_t i = 0; i < catalogue->n_streams; i++)
		account->owner[i] = OWNER_UNLISTED;
	own_streams(account, outcomes, volume);
	for (size_t i = 0; i < catalogue->n_nodes; i++) {
		const struct node *node = &catalogue->nodes[i];
		unsigned owner =
		    (node->flags & NODE_FOLDER) != 0 ? OWNER_INDEXES : OWNER_FILE_SYSTEM;

		if ((node->flags & NODE_IN_USE) == 0)
			continue;
		account->clusters[owner] += node->other_clusters;
		for (size_t k = node->first_stream; k < node->first_stream + node->n_streams; k++)
			account->clusters[owner_of(account, catalogue, node, k)] +=
			    catalogue->streams[k].allocated / cluster;
	}
	free(account->owner);
	return true;
}

static void check_sum(const struct survey_volume *volume, int64_t difference,
    struct findings *findings)
{
	uint64_t size = (uint64_t)(difference < 0 ? -difference : difference) *
	    volume->volume->cluster_size;

	if (difference == 0)
		return;
	findings_add(findings, WEIGHT_CAUTION, "volume-does-not-add-up", volume->name,
	    "Look at the findings for this volume: if the file table is damaged, files may be "
	    "missing whose names are not known.",
	    difference > 0 ? "%s of this volume are marked as in use and belong to no file."
			   : "%s of this volume belong to more than one file, or to files although "
			     "they are marked as free.",
	    text_size(size).text);
}

static void volume_to_json(struct json *json, const struct survey_volume *volume,
    const struct volume_account *account, struct findings *findings)
{
	static const char *const others[] = {"file-system", "folder-indexes", "unlisted"};
	const struct catalogue *catalogue = volume->volume->catalogue;
	uint64_t sum = catalogue->clusters_free;
	int64_t difference;

	json_begin_object(json);
	json_key_text(json, "volume", volume->name);
	json_key_unsigned(json, "clusters", volume->volume->clusters);
	json_key_unsigned(json, "cluster_size", volume->volume->cluster_size);
	json_key(json, "by_owner");
	json_begin_object(json);
	for (unsigned i = 0; i < OWNER_COUNT; i++) {
		sum += account->clusters[i];
		json_key_unsigned(json, i < STATE_COUNT ? state_name((enum state)i) :
							  others[i - STATE_COUNT],
		    account->clusters[i]);
	}
	difference = (int64_t)(volume->volume->clusters - sum);
	json_key(json, "unaccounted");
	json_signed(json, difference);
	json_end(json);
	json_key_unsigned(json, "free", catalogue->clusters_free);
	json_key_unsigned(json, "sum", sum);
	json_end(json);
	check_sum(volume, difference, findings);
}

static bool volumes_to_json(struct json *json, const struct outcomes *outcomes,
    struct findings *findings)
{
	const struct survey *survey = outcomes->plan->survey;
	struct volume_account account;

	json_begin_array(json);
	for (size_t i = 0; i < survey->n_volumes; i++) {
		if (survey->volumes[i].volume == NULL ||
		    survey->volumes[i].volume->catalogue == NULL)
			continue;
		if (!add_up(&account, outcomes, i))
			return false;
		volume_to_json(json, &survey->volumes[i], &account, findings);
	}
	json_end(json);
	return true;
}

/* What the drives were that all this came from, and what they said of themselves. */
static bool drives_to_json(struct json *json, const struct survey *survey)
{
	bool good = true;

	json_begin_array(json);
	for (size_t i = 0; i < survey->n_drives; i++) {
		const struct survey_drive *drive = &survey->drives[i];
		struct holes holes = {0};

		rounds_holes(survey, i, &holes);
		good = good && !holes.failed;
		json_begin_object(json);
		drive_keys_to_json(&drive->about, json);
		json_key_bool(json, "image", drive->about.is_image);
		json_key(json, "faults");
		faults_to_json(&drive->faults, json);
		json_key_unsigned(json, "sector_size", drive->about.sector_size);
		record_ranges(json, "holes", &holes);
		json_end(json);
		holes_free(&holes);
	}
	json_end(json);
	return good;
}

bool account_write(const struct job *job, const struct outcomes *outcomes, const struct sums *sums,
    struct findings *findings, struct digest *digest, struct error *error)
{
	char *path = job_path(job, "account.json");
	struct buf buf = {0};
	struct json json;
	bool good;

	json_start(&json, &buf, true);
	json_begin_object(&json);
	json_key(&json, "streams");
	json_begin_object(&json);
	for (unsigned i = 0; i < STATE_COUNT; i++) {
		json_key(&json, state_name((enum state)i));
		json_begin_object(&json);
		json_key_unsigned(&json, "count", sums->states[i].count);
		json_key_unsigned(&json, "bytes", sums->states[i].bytes);
		json_end(&json);
	}
	json_end(&json);
	json_key(&json, "drives");
	good = drives_to_json(&json, outcomes->plan->survey);
	json_key(&json, "volumes");
	good = good && volumes_to_json(&json, outcomes, findings) && path != NULL;
	json_end(&json);
	good = good ? durable_save(path, &buf, digest, error) : error_no_memory(error);
	buf_free(&buf);
	free(path);
	return good;
}
