/* The beginning of a job's log: see job_intro.h. */
#include "console/job_intro.h"

#include "base/text.h"

#include <string.h>
#include <time.h>

static void write_clock(struct job_log *log)
{
	time_t now = time(NULL);
	char text[64] = "";
	struct tm tm;

	if (localtime_r(&now, &tm) != NULL)
		strftime(text, sizeof(text), "%Y-%m-%d %H:%M:%S %Z", &tm);
	job_log_line(log, "coldlift %s. The clock of this PC says %s; it was not set.",
	    COLDLIFT_VERSION, text);
}

static void write_volume(struct job_log *log, const struct look_volume *volume)
{
	struct buf line = {0};

	buf_printf(&line, "    %s%s%s  %s, %s", *volume->device != '\0' ? volume->device : "volume",
	    *volume->letter != '\0' ? "  " : "", volume->letter,
	    *volume->filesystem != '\0' ? volume->filesystem : "no file system",
	    text_size(volume->size).text);
	if (volume->free != LOOK_FREE_UNKNOWN)
		buf_printf(&line, ", %s free", text_size(volume->free).text);
	if (*volume->label != '\0')
		buf_printf(&line, ", label %s", volume->label);
	job_log_line(log, "%s", buf_text(&line));
	buf_free(&line);
}

static void write_findings(struct job_log *log, const char *indent, const struct findings *findings)
{
	for (size_t i = 0; i < findings->count; i++) {
		struct buf text = {0};

		finding_to_text(&findings->items[i], &text);
		job_log_line(log, "%s%s: %s", indent, weight_name(findings->items[i].weight),
		    buf_text(&text));
		buf_free(&text);
	}
}

static void write_drive(struct job_log *log, const struct look_drive *drive, const char *role)
{
	struct buf line = {0};

	buf_printf(&line, "  %s  %s", drive->path, text_size(drive->size).text);
	look_describe(drive, &line);
	job_log_line(log, "%s: %s.", buf_text(&line), role);
	buf_clear(&line);
	look_health(drive, &line);
	if (line.length > 0)
		job_log_line(log, "    %s", buf_text(&line));
	buf_free(&line);
	if (*drive->problem != '\0')
		job_log_line(log, "    Not looked into: %s.", drive->problem);
	for (size_t i = 0; i < drive->n_volumes; i++)
		write_volume(log, &drive->volumes[i]);
	write_findings(log, "    ", &drive->findings);
}

void job_intro_write(struct job_log *log, const struct look *look, const struct look_drive *drive,
    const struct look_drive *earlier, const struct look_volume *target)
{
	write_clock(log);
	job_log_line(log, "Drives:");
	for (size_t i = 0; i < look->n_drives; i++) {
		const struct look_drive *one = &look->drives[i];

		write_drive(log, one,
		    one == drive ? "the destination"
		    : one == earlier ? "the destination until now"
		    : one->stick ? "coldlift was started from it"
				 : "only read");
	}
	job_log_line(log, "The destination is %s.", target->device);
	write_findings(log, "  ", &look->general);
	write_findings(log, "  ", &look->findings);
}

static void add_list(struct buf *out, const struct order_list *list, const char *last)
{
	for (size_t i = 0; i < list->count; i++)
		buf_printf(out, "%s%s",
		    i == 0                 ? ""
		    : i + 1 == list->count ? last
					   : ", ",
		    list->items[i]);
}

void job_intro_order(struct buf *out, const struct order *order)
{
	buf_add_text(out, "the files of ");
	if (order->persons.count == 0)
		buf_add_text(out, "everybody");
	else
		add_list(out, &order->persons, " and ");
	buf_printf(out, ", as %s", order->format != NULL ? order->format : "zip");
	if (order->part_size != NULL)
		buf_printf(out, ", in parts of %s at most", order->part_size);
	if (order->same != NULL)
		buf_printf(out, ", identical files stored %s", order->same);
	if (order->takes.count > 0) {
		buf_add_text(out, ", with ");
		add_list(out, &order->takes, " and ");
	}
	if (order->leaves.count > 0) {
		buf_add_text(out, ", without ");
		add_list(out, &order->leaves, " and ");
	}
}
