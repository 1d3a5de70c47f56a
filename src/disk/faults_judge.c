/* What the figures of a drive mean, in words; see faults.h for the rules. */
#include "disk/faults.h"

#include "base/json.h"
#include "base/text.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* Bits of the first byte of the NVMe log "SMART / Health Information". */
enum {
	WARNING_SPARE = 1,
	WARNING_TEMPERATURE = 2,
	WARNING_UNRELIABLE = 4,
	WARNING_READ_ONLY = 8,
};

const char *faults_verdict_name(enum faults_verdict verdict)
{
	switch (verdict) {
	case FAULTS_NOT_ASKED:
		break;
	case FAULTS_NONE_REPORTED:
		return "none-reported";
	case FAULTS_WEARING:
		return "wearing";
	case FAULTS_FAILING:
		return "failing";
	case FAULTS_LOCKED:
		return "locked";
	case FAULTS_UNKNOWN:
		return "unknown";
	}
	return NULL;
}

const char *figure_name(enum figure figure)
{
	static const char *const names[FIGURE_COUNT] = {
	    [FIGURE_SAYS_HEALTHY] = "says-healthy",
	    [FIGURE_REPLACED] = "replaced-sectors",
	    [FIGURE_PENDING] = "pending-sectors",
	    [FIGURE_UNREADABLE] = "unreadable-sectors",
	    [FIGURE_UNCORRECTED] = "uncorrected-errors",
	    [FIGURE_CABLE] = "transfer-errors",
	    [FIGURE_BELOW_LIMIT] = "values-below-limit",
	    [FIGURE_WAS_BELOW] = "values-once-below-limit",
	    [FIGURE_AGED] = "values-past-design",
	    [FIGURE_LOGGED] = "logged-errors",
	    [FIGURE_SELF_TESTS] = "failed-self-tests",
	    [FIGURE_WARNING] = "critical-warning",
	    [FIGURE_LIFE_USED] = "life-used-percent",
	    [FIGURE_SPARE] = "spare-percent",
	    [FIGURE_SPARE_THRESHOLD] = "spare-threshold-percent",
	    [FIGURE_MEDIA_ERRORS] = "media-errors",
	    [FIGURE_DEFECTS] = "grown-defects",
	    [FIGURE_HOURS] = "power-on-hours",
	    [FIGURE_TEMPERATURE] = "temperature-celsius",
	};

	return names[figure];
}

/* 0 when it is not known. */
static uint64_t value(const struct faults *faults, enum figure figure)
{
	return faults->known[figure] ? faults->values[figure] : 0;
}

static bool has_warning(const struct faults *faults, unsigned bits)
{
	return (value(faults, FIGURE_WARNING) & bits) != 0;
}

/* An NVMe drive's check also fails for being too hot: its warning says why. */
static bool own_check_failed(const struct faults *faults)
{
	return faults->known[FIGURE_SAYS_HEALTHY] && faults->values[FIGURE_SAYS_HEALTHY] == 0 &&
	       !faults->known[FIGURE_WARNING];
}

static bool is_failing(const struct faults *faults)
{
	return own_check_failed(faults) || value(faults, FIGURE_BELOW_LIMIT) > 0 ||
	       has_warning(faults, WARNING_SPARE | WARNING_UNRELIABLE | WARNING_READ_ONLY) ||
	       value(faults, FIGURE_PENDING) >= FAULTS_MANY ||
	       value(faults, FIGURE_UNREADABLE) >= FAULTS_MANY;
}

static bool is_wearing(const struct faults *faults)
{
	static const enum figure any[] = {FIGURE_REPLACED, FIGURE_PENDING, FIGURE_UNREADABLE,
	    FIGURE_UNCORRECTED, FIGURE_WAS_BELOW, FIGURE_AGED, FIGURE_SELF_TESTS,
	    FIGURE_MEDIA_ERRORS, FIGURE_DEFECTS};

	for (size_t i = 0; i < sizeof(any) / sizeof(any[0]); i++)
		if (value(faults, any[i]) > 0)
			return true;
	return value(faults, FIGURE_LIFE_USED) >= 100 ||
	       has_warning(faults, ~(unsigned)WARNING_TEMPERATURE);
}

/* --- words --- */

struct words {
	struct buf buf;
	unsigned parts;
};

static void add(struct words *words, const char *text)
{
	buf_printf(&words->buf, "%s%s", words->parts++ > 0 ? ", " : "", text);
}

/* "3 sectors replaced by spare ones"; nothing for none. */
static void add_count(struct words *words, const struct faults *faults, enum figure figure,
    const char *one, const char *many)
{
	uint64_t count = value(faults, figure);
	char text[160];

	if (count == 0)
		return;
	snprintf(text, sizeof(text), "%s %s", text_count(count).text, count == 1 ? one : many);
	add(words, text);
}

static void add_warnings(struct words *words, const struct faults *faults)
{
	char text[120];

	if (own_check_failed(faults))
		add(words, "its own check says that it may fail at any time");
	if (has_warning(faults, WARNING_UNRELIABLE))
		add(words, "it says that it is not reliable any more");
	if (has_warning(faults, WARNING_READ_ONLY))
		add(words, "it can only be read any more");
	if (has_warning(faults, WARNING_SPARE)) {
		snprintf(text, sizeof(text), "its spare room is down to %" PRIu64 " percent",
		    value(faults, FIGURE_SPARE));
		add(words, faults->known[FIGURE_SPARE] ? text : "its spare room has run low");
	}
	add_count(words, faults, FIGURE_BELOW_LIMIT, "of its values is below the maker's limit",
	    "of its values are below the maker's limit");
	/* The other bits concern writing only. */
	if (has_warning(faults, ~15u))
		add(words, "it warns of a fault in its memory for writing");
}

static void add_figures(struct words *words, const struct faults *faults)
{
	char text[120];

	add_count(words, faults, FIGURE_PENDING, "sector that cannot be read",
	    "sectors that cannot be read");
	/* Mostly the same sectors. */
	if (value(faults, FIGURE_PENDING) == 0)
		add_count(words, faults, FIGURE_UNREADABLE, "sector that its own scan cannot read",
		    "sectors that its own scan cannot read");
	add_count(words, faults, FIGURE_REPLACED, "sector replaced", "sectors replaced");
	add_count(
	    words, faults, FIGURE_DEFECTS, "defect since it was made", "defects since it was made");
	add_count(words, faults, FIGURE_UNCORRECTED, "error that could not be corrected",
	    "errors that could not be corrected");
	add_count(words, faults, FIGURE_MEDIA_ERRORS, "time that data could not be read back",
	    "times that data could not be read back");
	add_count(words, faults, FIGURE_SELF_TESTS, "self-test failed", "self-tests failed");
	add_count(words, faults, FIGURE_WAS_BELOW, "of its values was below the maker's limit once",
	    "of its values were below the maker's limit once");
	add_count(words, faults, FIGURE_AGED, "of its values shows the end of its designed life",
	    "of its values show the end of its designed life");
	if (value(faults, FIGURE_LIFE_USED) >= 100) {
		snprintf(text, sizeof(text), "%" PRIu64 " percent of its designed life used",
		    value(faults, FIGURE_LIFE_USED));
		add(words, text);
	}
}

static void say_bad(struct faults *faults)
{
	struct words words = {0};

	add_warnings(&words, faults);
	add_figures(&words, faults);
	if (value(faults, FIGURE_HOURS) > 0)
		buf_printf(&words.buf, " (after %s %s of use)",
		    text_count(value(faults, FIGURE_HOURS)).text,
		    value(faults, FIGURE_HOURS) == 1 ? "hour" : "hours");
	snprintf(faults->sentence, sizeof(faults->sentence), "%s: %s.",
	    faults->verdict == FAULTS_FAILING ? "Failing" : "Wearing", buf_text(&words.buf));
	buf_free(&words.buf);
}

static void say_good(struct faults *faults)
{
	char more[160] = "";

	if (has_warning(faults, WARNING_TEMPERATURE))
		snprintf(more, sizeof(more),
		    faults->known[FIGURE_TEMPERATURE]
			? ", but it is hotter or colder than it may be (%" PRIu64
			  " degrees Celsius)"
			: ", but it is hotter or colder than it may be",
		    value(faults, FIGURE_TEMPERATURE));
	else if (value(faults, FIGURE_CABLE) >= FAULTS_CABLE)
		snprintf(more, sizeof(more),
		    ", but %s transfers through its cable or adapter went wrong so far",
		    text_count(value(faults, FIGURE_CABLE)).text);
	snprintf(faults->sentence, sizeof(faults->sentence), "No fault reported%s.", more);
}

void faults_judge(struct faults *faults)
{
	if (faults->verdict == FAULTS_LOCKED) {
		snprintf(faults->sentence, sizeof(faults->sentence), "%s",
		    "Locked by a password: nothing on it can be read until it is unlocked.");
	} else if (is_failing(faults) || is_wearing(faults)) {
		faults->verdict = is_failing(faults) ? FAULTS_FAILING : FAULTS_WEARING;
		say_bad(faults);
	} else {
		faults->verdict = FAULTS_NONE_REPORTED;
		say_good(faults);
	}
}

void faults_set_unknown(struct faults *faults, const char *why)
{
	faults->verdict = FAULTS_UNKNOWN;
	snprintf(faults->sentence, sizeof(faults->sentence), "Whether it has faults is not known.");
	snprintf(faults->why_unknown, sizeof(faults->why_unknown), "%s", why);
}

void faults_add_sealed(struct faults *faults, const struct drive *drive, enum sealed sealed)
{
	bool silent = faults->verdict == FAULTS_UNKNOWN && strcmp(drive->bus, "USB") == 0;

	if (sealed == SEALED_NOT || (faults->verdict != FAULTS_NONE_REPORTED && !silent))
		return;
	faults->verdict = FAULTS_LOCKED;
	faults->why_unknown[0] = '\0';
	snprintf(faults->sentence, sizeof(faults->sentence), "%s",
	    sealed == SEALED_RANDOM
		? "Looks encrypted as a whole, or wiped: nothing on it can be recognised."
		: "Looks locked or encrypted as a whole, or is broken: every read fails at once.");
}

/* --- for others --- */

void faults_find(const struct faults *faults, const char *subject, struct findings *findings)
{
	static const char failing[] =
	    "Take the most precious files first (extract --careful does), and spare this drive "
	    "everything else. If it clicks, grinds, smells or drops out, switch it off at once: it then belongs to a "
	    "recovery laboratory.";
	static const char wearing[] =
	    "Take everything from it soon and put nothing on it any more. If it clicks or drops "
	    "out, switch it off: it then belongs to a recovery laboratory.";
	static const char locked[] =
	    "This is no fault. It is unlocked by its owner's password when its own PC starts, "
	    "mostly only in that PC; then it can be read.";
	static const char cable[] =
	    "If reading is slow or breaks off, try another cable, port or adapter.";

	if (faults->verdict == FAULTS_FAILING)
		findings_add(findings, WEIGHT_CAUTION, "drive-failing", subject, failing, "%s",
		    faults->sentence);
	else if (faults->verdict == FAULTS_WEARING)
		findings_add(findings, WEIGHT_CAUTION, "drive-wearing", subject, wearing, "%s",
		    faults->sentence);
	else if (faults->verdict == FAULTS_LOCKED)
		findings_add(
		    findings, WEIGHT_LOSS, "drive-locked", subject, locked, "%s", faults->sentence);
	if (value(faults, FIGURE_CABLE) >= FAULTS_CABLE)
		findings_add(findings, WEIGHT_NOTE, "transfer-errors", subject, cable,
		    "The drive counted %s transfers through its cable or adapter that went wrong.",
		    text_count(value(faults, FIGURE_CABLE)).text);
}

void faults_to_json(const struct faults *faults, struct json *json)
{
	if (faults->verdict == FAULTS_NOT_ASKED) {
		json_put_null(json);
		return;
	}
	json_begin_object(json);
	json_key_text(json, "verdict", faults_verdict_name(faults->verdict));
	json_key_text(json, "sentence", faults->sentence);
	json_key(json, "figures");
	json_begin_array(json);
	for (unsigned i = 0; i < FIGURE_COUNT; i++) {
		if (!faults->known[i])
			continue;
		json_begin_object(json);
		json_key_text(json, "name", figure_name((enum figure)i));
		json_key_unsigned(json, "value", faults->values[i]);
		json_end(json);
	}
	json_end(json);
	if (faults->verdict == FAULTS_UNKNOWN)
		json_key_text(json, "why_unknown", faults->why_unknown);
	json_end(json);
}
