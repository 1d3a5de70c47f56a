/* The one thing to do next: see next_step.h. */
#include "console/next_step.h"

#include "base/text.h"
#include "console/destinations.h"

static const struct look_drive *find(
    const struct look *look, bool (*is_it)(const struct look_drive *drive))
{
	for (size_t i = 0; i < look->n_drives; i++)
		if (!look->drives[i].stick && is_it(&look->drives[i]))
			return &look->drives[i];
	return NULL;
}

static bool is_any(const struct look_drive *drive)
{
	(void)drive;
	return true;
}

static bool is_incomplete_set(const struct look_drive *drive)
{
	return *drive->set != '\0' && !drive->set_readable;
}

/* "sda (WDC WD5000)". */
static void add_name(struct buf *out, const struct look_drive *drive)
{
	buf_add_text(out, look_short_name(drive->path));
	if (*drive->model != '\0')
		buf_printf(out, " (%s)", drive->model);
}

/* A tenth more, and no figures that nobody needs: "23 GB". */
static struct size_text rounded(uint64_t bytes)
{
	return text_size(bytes + bytes / 10 + 1000000);
}

static enum step say_failing(struct buf *out, const struct look_drive *drive)
{
	buf_add_text(out, "The drive ");
	add_name(out, drive);
	buf_add_text(out, " is failing. Every further minute of reading can cost files. If they "
			  "are worth much, or "
			  "it clicks, grinds or smells: switch the PC off now (p) and give the "
			  "drive to a recovery "
			  "laboratory. Go on (j) only if nobody would pay for that; what can still "
			  "be read is then "
			  "taken once.");
	return STEP_FAILING;
}

static enum step say_locked(struct buf *out, const struct look_drive *drive)
{
	buf_add_text(out, "The drive ");
	add_name(out, drive);
	buf_add_text(out, " is locked: without its owner's password or recovery key nobody can "
			  "read it, and coldlift "
			  "cannot open it yet. It is not broken. Keep it as it is, and look for "
			  "the key (48 digits, "
			  "often in the owner's online account or on paper). Do not change the "
			  "firmware's settings.");
	return STEP_LOCKED;
}

static enum step say_set(struct buf *out, const struct look_drive *drive)
{
	buf_add_text(out, "The drive ");
	add_name(out, drive);
	buf_printf(out,
	    " belongs to %s. The files lie spread over all of its drives, and coldlift does not "
	    "put sets "
	    "together. Keep the drives together, leave the storage mode of the firmware as it is, "
	    "and "
	    "press f to read what can be done.",
	    drive->set);
	return STEP_SET;
}

static enum step say_nothing(struct buf *out, const struct look *look)
{
	const struct look_drive *drive = find(look, is_incomplete_set);

	if (drive != NULL)
		return say_set(out, drive);
	drive = find(look, look_is_locked);
	if (drive != NULL)
		return say_locked(out, drive);
	buf_add_text(out,
	    "There is nothing on these drives that can be taken: no old system, and no volume with "
	    "people's files that can be read. Press f to read what was found, and h for drives "
	    "that do "
	    "not show up.");
	return STEP_NOTHING;
}

/* Where it could go. */
static enum step say_take(struct buf *out, const struct look *look)
{
	uint64_t bytes = look_bytes(look);
	struct destinations found;

	destinations_find(look, &found);
	if (destinations_have_room(&found, bytes)) {
		buf_printf(out,
		    "All is ready. Press j to take everything (about %s) to another drive.",
		    text_size(bytes).text);
		return STEP_TAKE;
	}
	buf_printf(out,
	    "Plug in %s with at least %s free, best with exFAT or NTFS. Then press l to look "
	    "again, "
	    "and j to take everything.",
	    found.count > 0 ? "a larger drive" : "a second drive", rounded(bytes).text);
	return STEP_PLUG_IN;
}

enum step next_step(const struct look *look, const struct power *power, bool done, struct buf *out)
{
	const struct look_drive *drive = find(look, look_is_failing);

	if (done) {
		buf_add_text(out,
		    "The job has ended; above stands what came of it. Press p to switch off, and "
		    "unplug the "
		    "second drive only then. For another job plug in the next drive and press l.");
		return STEP_DONE;
	}
	if (find(look, is_any) == NULL) {
		buf_add_text(out, "No drive of this PC shows up. Press h to read what that can "
				  "mean and what to do, or "
				  "plug in a drive and press l to look again.");
		return STEP_NO_DRIVES;
	}
	if (drive != NULL)
		return say_failing(out, drive);
	if (power->on_battery) {
		buf_add_text(out,
		    "Plug in the mains: this PC runs on its battery, and if that runs "
		    "empty the work stops in the middle. Then press l to look again.");
		return STEP_MAINS;
	}
	if (!look->surveyed) {
		buf_add_text(out, "Press o to find out whose PC it was and what there is to take.");
		return STEP_READ_TABLES;
	}
	if (look->n_systems == 0 && look->other_bytes == 0)
		return say_nothing(out, look);
	return say_take(out, look);
}
