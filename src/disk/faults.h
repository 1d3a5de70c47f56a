/*
 * What a drive says of its own health, asked through smartctl(8), and what that means.
 *
 * Sources. The names and types of smartctl's JSON: smartmontools 7, manual page and own output. The
 * drive's self-assessment and its security state (IDENTIFY DEVICE, word 128): ATA Command Set
 * (ACS-2), 7.52 and 7.16. The critical warning and its bits, percentage used, spare and its
 * threshold, media errors: NVM Express Base Specification, "SMART / Health Information" log. Grown
 * defects: SCSI Block Commands. (All section numbers from memory.)
 *
 * ATA leaves the numbered attributes to the makers. What 5, 187, 197, 198 and 199 count is common
 * practice, no standard; so one counts only where its name, from smartctl's own database, agrees.
 *
 * What the figures mean here (common practice, no source; large surveys of drives in use found one
 * replaced or unreadable sector to make a failure many times more likely).
 *
 * Failing: the drive's own check says so; a value that foretells failure is below the maker's
 * limit; an NVMe warning that spare room has run low, that the drive is not reliable any more, or
 * that it can only be read; FAULTS_MANY sectors or more that cannot be read.
 *
 * Wearing: any sector replaced or unreadable, any error that could not be corrected, a failed
 * self-test, a value that was below its limit once, the designed life used up.
 *
 * Locked: protected by a password (ATA security), or it looks encrypted or locked as a whole.
 *
 * Errors of transfer (attribute 199) concern the cable or adapter, not the drive.
 */
#ifndef DISK_FAULTS_H
#define DISK_FAULTS_H

#include "base/arena.h"
#include "base/finding.h"
#include "disk/drives.h"
#include "disk/sealed.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FAULTS_MANY 100u /* unreadable sectors that make a drive a failing one: our own choice */
#define FAULTS_CABLE 10u /* errors of transfer that are worth a note: our own choice */

enum faults_verdict {
	FAULTS_NOT_ASKED, /* an image file, or the drive that coldlift was started from */
	FAULTS_NONE_REPORTED,
	FAULTS_WEARING,
	FAULTS_FAILING,
	FAULTS_LOCKED,
	FAULTS_UNKNOWN,
};

enum figure {
	FIGURE_SAYS_HEALTHY, /* "says-healthy": 1, or 0 when the drive's own check failed */
	/* ATA */
	FIGURE_REPLACED, /* "replaced-sectors": attribute 5 */
	FIGURE_PENDING,  /* "pending-sectors": 197, could not be read and wait for being replaced */
	FIGURE_UNREADABLE,  /* "unreadable-sectors": 198, found by the drive's own scan */
	FIGURE_UNCORRECTED, /* "uncorrected-errors": 187, or what SCSI drives count when reading */
	FIGURE_CABLE,       /* "transfer-errors": 199 */
	FIGURE_BELOW_LIMIT, /* "values-below-limit": that foretell failure, now */
	FIGURE_WAS_BELOW,   /* "values-once-below-limit": the same, earlier */
	FIGURE_AGED,        /* "values-past-design": of age, below the maker's limit now */
	FIGURE_LOGGED,      /* "logged-errors": also harmless ones */
	FIGURE_SELF_TESTS,  /* "failed-self-tests" */
	/* NVMe */
	FIGURE_WARNING,         /* "critical-warning": the bits of the log's first byte */
	FIGURE_LIFE_USED,       /* "life-used-percent": can be more than 100 */
	FIGURE_SPARE,           /* "spare-percent" */
	FIGURE_SPARE_THRESHOLD, /* "spare-threshold-percent" */
	FIGURE_MEDIA_ERRORS,    /* "media-errors" */
	/* SCSI */
	FIGURE_DEFECTS, /* "grown-defects": since it was made */
	/* all */
	FIGURE_HOURS,       /* "power-on-hours" */
	FIGURE_TEMPERATURE, /* "temperature-celsius" */
	FIGURE_COUNT,
};

struct faults {
	enum faults_verdict verdict;
	bool known[FIGURE_COUNT];
	uint64_t values[FIGURE_COUNT];
	char sentence[500];    /* one plain sentence with the figures; "" when not asked */
	char why_unknown[300]; /* one sentence; only of FAULTS_UNKNOWN, "" otherwise */
};

/* "none-reported", "wearing", "failing", "locked", "unknown"; NULL: not asked. */
const char *faults_verdict_name(enum faults_verdict verdict);
const char *figure_name(enum figure figure);

struct faults_question {
	const char *device; /* "/dev/sda", a whole drive; NULL: not to be asked */
	bool is_usb;
	struct faults answer;
};

/*
 * The question to a drive; of a partition, to its whole drive. An image file is not asked. False
 * only when memory runs out. `root` as in disk/drives.h.
 */
bool faults_question_make(struct arena *arena, const char *root, const struct drive *drive,
    struct faults_question *question);

/*
 * Asks them all at once, each for at most FAULTS_LIMIT milliseconds and once more when it is a USB
 * drive whose adapter needs another way of asking; so that one drive that hangs costs the others
 * nothing but this. `program` is smartctl, looked for in PATH. A drive that sleeps is woken up.
 * Asking needs root. Nothing is changed on the drive. Every answer is filled in, with
 * FAULTS_UNKNOWN when there is none.
 */
#define FAULTS_PROGRAM "smartctl"
#define FAULTS_LIMIT 10000u
void faults_ask(const char *program, struct faults_question *questions, size_t count);

/* Fills in the answer out of smartctl's JSON, which can be anything. */
void faults_read(const char *text, size_t length, struct faults *faults);

/* Verdict and sentence out of the figures. For faults_read(). */
void faults_judge(struct faults *faults);

/* The verdict of a drive that was not asked, or did not answer: why, one sentence. */
void faults_set_unknown(struct faults *faults, const char *why);

/*
 * What reading the drive showed: one that says it is healthy, or a USB drive that says nothing, and
 * looks locked or encrypted as a whole, is locked and not failing.
 */
void faults_add_sealed(struct faults *faults, const struct drive *drive, enum sealed sealed);

/*
 * device_open() for a drive that has answered: one that is locked by a password, and would refuse
 * every read, is not opened.
 */
struct device *faults_open_device(
    const struct faults *faults, const char *path, struct error *error);

/*
 * Adds what somebody should know: "drive-failing", "drive-wearing", "drive-locked",
 * "transfer-errors". Nothing for a drive that only looks locked: table_read() has said it.
 */
void faults_find(const struct faults *faults, const char *subject, struct findings *findings);

/* One object, or null when the drive was not asked: verdict, sentence, figures, why_unknown. */
struct json;
void faults_to_json(const struct faults *faults, struct json *json);

#endif
