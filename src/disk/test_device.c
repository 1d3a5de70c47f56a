/* The test device: an image file that misbehaves as a script says; see device.h. */
#include "disk/device.h"

#include "base/buf.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum rule_kind {
	RULE_FAIL,
	RULE_SHORT,
	RULE_FLEETING,
	RULE_DIES,
	RULE_FLIP,
	RULE_SLOW,
	RULE_HANG,
	RULE_GONE,
};

struct rule {
	enum rule_kind kind;
	uint64_t offset, length;
	uint64_t number; /* times, mask, milliseconds or reads */
	uint64_t used;   /* how often a failing rule has failed */
	uint32_t *asked; /* of a failing rule: how often each of its sectors was asked for */
};

struct test_state {
	int fd;
	struct rule *rules;
	size_t count, capacity;
	bool gone;
	bool watch;
	uint8_t *seen; /* of each sector, when watched: how it was delivered before */
	size_t n_seen;
	pthread_mutex_t lock; /* over the counts, which others read */
	struct device_counts counts;
};

/* Rules over more sectors than this are not counted sector by sector. */
#define ASKED_MAX 65536u

static bool is_failing(const struct rule *rule)
{
	return rule->kind <= RULE_DIES;
}

/* How a sector was delivered. */
enum { SEEN_NEVER, SEEN_BEFORE, SEEN_SINCE }; /* the first failure */

static bool meets(const struct rule *rule, uint64_t offset, uint64_t length)
{
	return rule->offset < offset + length && offset < rule->offset + rule->length;
}

static void sleep_millis(uint64_t millis)
{
	struct timespec time = {(time_t)(millis / 1000), (long)(millis % 1000 * 1000000)};

	while (nanosleep(&time, &time) != 0 && errno == EINTR)
		continue;
}

/* Returns how often the sector that was asked for least was asked for. */
static uint64_t count_asked(
    struct device *device, struct rule *rule, uint64_t offset, uint64_t length)
{
	uint64_t least = UINT64_MAX;
	struct test_state *state = device->state;
	uint64_t first = rule->offset / device->sector_size;
	uint64_t last = (rule->offset + rule->length - 1) / device->sector_size;
	uint64_t from = offset / device->sector_size;
	uint64_t to = (offset + length - 1) / device->sector_size;

	pthread_mutex_lock(&state->lock);
	for (uint64_t sector = from > first ? from : first; sector <= to && sector <= last;
	     sector++) {
		if (sector - first >= ASKED_MAX)
			break;
		if (++rule->asked[sector - first] > state->counts.most_asked)
			state->counts.most_asked = rule->asked[sector - first];
		if (rule->asked[sector - first] < least)
			least = rule->asked[sector - first];
	}
	pthread_mutex_unlock(&state->lock);
	return least;
}

/* Does the failing rule fail this time? */
static bool fails_now(struct device *device, struct rule *rule, uint64_t least)
{
	const struct test_state *state = device->state;

	switch (rule->kind) {
	case RULE_FLEETING:
		return least <= rule->number;
	case RULE_DIES:
		return state->counts.reads > rule->number;
	default:
		return rule->number == 0 || rule->used++ < rule->number;
	}
}

/* What the rules say before reading: shortens *length, or gives -errno. */
static int apply_before(struct device *device, uint64_t offset, size_t *length)
{
	struct test_state *state = device->state;
	uint64_t wanted = *length;

	for (size_t i = 0; i < state->count; i++) {
		struct rule *rule = &state->rules[i];
		uint64_t least = 0;

		if (!meets(rule, offset, wanted))
			continue;
		if (is_failing(rule))
			least = count_asked(device, rule, offset, wanted);
		if (rule->kind == RULE_SLOW)
			sleep_millis(rule->number);
		while (rule->kind == RULE_HANG)
			pause();
		if (rule->kind == RULE_GONE)
			state->gone = true;
		if (!is_failing(rule) || !fails_now(device, rule, least))
			continue;
		if (rule->kind != RULE_SHORT || rule->offset <= offset)
			return -EIO;
		if (rule->offset - offset < *length)
			*length = (size_t)(rule->offset - offset);
	}
	return state->gone ? -ENODEV : 0;
}

static void apply_after(struct test_state *state, uint64_t offset, uint8_t *buffer, size_t length)
{
	for (size_t i = 0; i < state->count; i++) {
		const struct rule *rule = &state->rules[i];

		if (rule->kind == RULE_FLIP && rule->offset >= offset &&
		    rule->offset - offset < length)
			buffer[rule->offset - offset] ^= (uint8_t)rule->number;
	}
}

/* Counts the sectors that arrive. */
static void count_seen(struct device *device, uint64_t offset, size_t length)
{
	struct test_state *state = device->state;
	uint64_t first = offset / device->sector_size;
	uint64_t end = (offset + length) / device->sector_size;

	pthread_mutex_lock(&state->lock);
	for (uint64_t i = first; i < end && i < state->n_seen; i++) {
		state->counts.again += state->seen[i] != SEEN_NEVER;
		state->counts.again_since += state->seen[i] == SEEN_SINCE;
		if (state->counts.failures > 0)
			state->seen[i] = SEEN_SINCE;
		else if (state->seen[i] == SEEN_NEVER)
			state->seen[i] = SEEN_BEFORE;
	}
	pthread_mutex_unlock(&state->lock);
}

static ssize_t test_read(struct device *device, uint64_t offset, void *buffer, size_t length)
{
	struct test_state *state = device->state;
	ssize_t got;
	int failure;

	pthread_mutex_lock(&state->lock);
	state->counts.reads++;
	state->counts.bytes += length;
	pthread_mutex_unlock(&state->lock);
	if (offset % device->sector_size != 0 || length % device->sector_size != 0)
		return -EINVAL;
	failure = apply_before(device, offset, &length);
	if (failure != 0) {
		pthread_mutex_lock(&state->lock);
		state->counts.failures++;
		pthread_mutex_unlock(&state->lock);
		return failure;
	}
	if (offset >= device->size)
		return 0;
	if (length > device->size - offset)
		length = (size_t)(device->size - offset);
	got = pread(state->fd, buffer, length, (off_t)offset);
	if (got < 0)
		return -errno;
	apply_after(state, offset, buffer, (size_t)got);
	if (state->seen != NULL)
		count_seen(device, offset, (size_t)got);
	return got;
}

static void test_close(struct device *device)
{
	struct test_state *state = device->state;

	for (size_t i = 0; i < state->count; i++)
		free(state->rules[i].asked);
	free(state->rules);
	free(state->seen);
	if (state->fd >= 0)
		close(state->fd);
	pthread_mutex_destroy(&state->lock);
	free(state);
}

static const struct device_ops test_ops = {test_read, test_close};

static const struct rule_form {
	const char *word;
	enum rule_kind kind;
	int least, most; /* numbers behind the word */
} rule_forms[] = {
    {"fail", RULE_FAIL, 2, 3},
    {"short", RULE_SHORT, 2, 2},
    {"fleeting", RULE_FLEETING, 3, 3},
    {"dies", RULE_DIES, 3, 3},
    {"flip", RULE_FLIP, 2, 2},
    {"slow", RULE_SLOW, 3, 3},
    {"hang", RULE_HANG, 2, 2},
    {"gone", RULE_GONE, 2, 2},
};

static bool add_rule(struct device *device, const struct rule_form *form, const uint64_t numbers[3])
{
	struct test_state *state = device->state;
	struct rule rule = {0};
	uint64_t sectors;

	if (!array_reserve(&state->rules, &state->capacity, state->count + 1, sizeof(rule)))
		return false;
	rule.kind = form->kind;
	rule.offset = numbers[0];
	rule.length = form->kind == RULE_FLIP ? 1 : numbers[1];
	rule.number = form->kind == RULE_FLIP ? numbers[1] : numbers[2];
	if (rule.length == 0 || rule.length > INT64_MAX || rule.offset > INT64_MAX)
		return false;
	if (is_failing(&rule)) {
		sectors = rule.length / 512 + 2;
		rule.asked = calloc(sectors < ASKED_MAX ? sectors : ASKED_MAX, sizeof(*rule.asked));
		if (rule.asked == NULL)
			return false;
	}
	state->rules[state->count++] = rule;
	return true;
}

static bool parse_line(struct device *device, const char *line)
{
	uint64_t numbers[3] = {0};
	char word[16];
	int count = sscanf(line, "%15s %" SCNi64 " %" SCNi64 " %" SCNi64, word,
			(int64_t *)&numbers[0], (int64_t *)&numbers[1], (int64_t *)&numbers[2]) -
		    1;

	if (count < 0 || word[0] == '#')
		return true;
	if (strcmp(word, "size") == 0 && count == 1) {
		device->size = numbers[0];
		return true;
	}
	if (strcmp(word, "watch") == 0 && count == 0) {
		((struct test_state *)device->state)->watch = true;
		return true;
	}
	if (strcmp(word, "sector") == 0 && count == 1) {
		device->sector_size = (uint32_t)numbers[0];
		return numbers[0] >= 512 && numbers[0] <= 65536 &&
		       (numbers[0] & (numbers[0] - 1)) == 0;
	}
	for (size_t i = 0; i < sizeof(rule_forms) / sizeof(rule_forms[0]); i++)
		if (strcmp(word, rule_forms[i].word) == 0)
			return count >= rule_forms[i].least && count <= rule_forms[i].most &&
			       add_rule(device, &rule_forms[i], numbers);
	return false;
}

static bool parse_script(struct device *device, const char *script, struct error *error)
{
	while (*script != '\0') {
		size_t length = strcspn(script, "\n");
		char line[128];

		if (length >= sizeof(line))
			length = sizeof(line) - 1;
		memcpy(line, script, length);
		line[length] = '\0';
		if (!parse_line(device, line))
			return error_set(
			    error, STATUS_OTHER, "the test device does not understand '%s'", line);
		script += length;
		script += *script == '\n';
	}
	return true;
}

struct device *device_open_test(const char *image, const char *script, struct error *error)
{
	struct device *device = device_new(&test_ops, image);
	struct test_state *state = calloc(1, sizeof(*state));
	struct stat status;

	if (device == NULL || state == NULL) {
		free(state);
		device_close(device);
		error_no_memory(error);
		return NULL;
	}
	device->state = state;
	pthread_mutex_init(&state->lock, NULL);
	state->fd = open(image, O_RDONLY | O_CLOEXEC);
	if (state->fd < 0 || fstat(state->fd, &status) != 0) {
		error_set_errno(error, STATUS_NO_VOLUME, errno, "%s cannot be opened", image);
		device_close(device);
		return NULL;
	}
	device->size = (uint64_t)status.st_size;
	device->number = status.st_dev;
	if (!parse_script(device, script, error)) {
		device_close(device);
		return NULL;
	}
	if (state->watch) {
		state->n_seen = (size_t)(device->size / device->sector_size);
		state->seen = calloc(state->n_seen + 1, 1);
		if (state->seen == NULL) {
			device_close(device);
			error_no_memory(error);
			return NULL;
		}
	}
	return device;
}

struct device_counts device_test_counts(const struct device *device)
{
	struct test_state *state = device->state;
	struct device_counts counts;

	pthread_mutex_lock(&state->lock);
	counts = state->counts;
	pthread_mutex_unlock(&state->lock);
	return counts;
}
