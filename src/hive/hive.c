/*
 * Opening a hive: copy, base block, logs, root, tree. And closing it.
 */
#include "hive/internal.h"

static bool copy_file(struct hive *hive, const void *data, size_t length)
{
	/* Room for a whole base block, so that nobody has to ask whether there is one. */
	hive->length = length < BASE_BLOCK_SIZE ? BASE_BLOCK_SIZE : length;
	hive->data = calloc(1, hive->length);
	if (hive->data == NULL)
		return false;
	if (length > 0)
		memcpy(hive->data, data, length);
	return true;
}

static void read_base(struct hive *hive)
{
	size_t there = hive->length - BASE_BLOCK_SIZE;

	if (there > BINS_LIMIT)
		there = BINS_LIMIT;
	hive->base = base_block_read(hive->data, hive->length);
	/* A log is no hive, even with a right checksum. */
	if (hive->base.file_type != 0)
		hive->base.valid = false;
	hive->health.base_block_bad = !hive->base.valid;
	if (hive->base.valid && hive->base.bins_size < there)
		there = hive->base.bins_size;
	hive->bins_length = (uint32_t)there;
}

/* After the logs: is everything there that should be? */
static void check_length(struct hive *hive)
{
	if (hive->health.base_block_bad && hive->health.logs_applied == 0)
		return;
	if (hive->bins_length < hive->base.bins_size)
		hive->health.truncated = true;
}

static bool is_root(const struct hive *hive, hive_cell cell)
{
	struct cell nk;

	return nk_get(hive, cell, &nk) && (get_u16(nk.data + 2) & NK_FLAG_ROOT) != 0;
}

/*
 * The root as the base block says. When that is bad: what it says if there is a root, else where
 * roots always are (the first cell), else the first key node that is marked as one.
 */
static hive_cell choose_root(const struct hive *hive)
{
	if (!hive->health.base_block_bad || is_root(hive, hive->base.root))
		return hive->base.root;
	if (is_root(hive, BIN_HEADER))
		return BIN_HEADER;
	return salvage_find_root(hive);
}

static bool build(struct hive *hive, const void *data, size_t length, const struct holes *holes,
    const struct hive_log *logs, size_t n_logs, struct error *error)
{
	if (!copy_file(hive, data, length))
		return error_no_memory(error);
	read_base(hive);
	if (!logs_fill(hive, holes, logs, n_logs) || !hive_replay(hive, logs, n_logs))
		return error_no_memory(error);
	check_length(hive);
	if (!tree_build(hive, choose_root(hive)))
		return error_no_memory(error);
	if (hive->health.root_lost && hive->n_keys == 1)
		return error_set(error, STATUS_OTHER, "there is no registry key in it");
	return true;
}

struct hive *hive_open(const void *data, size_t length, const struct hive_log *logs, size_t n_logs,
    struct error *error)
{
	return hive_open_holed(data, length, NULL, logs, n_logs, error);
}

struct hive *hive_open_holed(const void *data, size_t length, const struct holes *holes,
    const struct hive_log *logs, size_t n_logs, struct error *error)
{
	struct hive *hive = calloc(1, sizeof(*hive));

	if (hive == NULL) {
		error_no_memory(error);
		return NULL;
	}
	if (!build(hive, data, length, holes, logs, n_logs, error)) {
		hive_close(hive);
		return NULL;
	}
	return hive;
}

void hive_close(struct hive *hive)
{
	if (hive == NULL)
		return;
	free(hive->data);
	free(hive->keys);
	free(hive->slots);
	free(hive->made_up);
	free(hive->broken.items);
	free(hive->foreign.items);
	free(hive);
}

const struct hive_health *hive_health(const struct hive *hive)
{
	return &hive->health;
}

const uint8_t *hive_bins(const struct hive *hive, size_t *length)
{
	*length = hive->bins_length;
	return hive->data + BASE_BLOCK_SIZE;
}

int64_t hive_last_written(const struct hive *hive)
{
	if (hive->base.written != 0 && !hive->health.base_block_bad)
		return hive->base.written;
	return first_bin_written(hive->data + BASE_BLOCK_SIZE, hive->bins_length);
}
