/* Definitions of scheduled tasks: see task_file.h. */
#include "system/task_file.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "system/library_file.h"
#include "system/xml_element.h"

#include <string.h>

/* --- .job --- */

#define JOB_FIXED 68u /* bytes of FIXDLEN_DATA */
#define JOB_TRIGGER 48u
#define JOB_DISABLED 0x4u /* TASK_FLAG_DISABLED */
#define JOB_VERSION 1u    /* of the format */

/* A counted text: its length in units with the NUL, then the units. False when it does not fit. */
static bool job_text(
    const uint8_t *data, size_t length, size_t *at, struct arena *arena, const char **text)
{
	size_t units;

	if (*at > length || length - *at < 2)
		return false;
	units = get_u16(data + *at);
	*at += 2;
	if (units > (length - *at) / 2)
		return false;
	*text = "";
	if (units > 0) {
		const uint8_t *from = data + *at;
		size_t used = 0;

		while (used < units && (from[2 * used] || from[2 * used + 1]))
			used++;
		*text = utf_arena_from_utf16(arena, from, used, NULL);
	}
	*at += 2 * units;
	return *text != NULL;
}

static const char *job_when(const uint8_t *data, size_t length, struct arena *arena)
{
	static const char *const kinds[] = {"once", "every day", "every week", "every month",
	    "every month", "when idle", "at start-up", "at log-on"};
	size_t at = get_u16(data + 22); /* Trigger Offset */
	const uint8_t *trigger;
	uint32_t kind;
	char *when;

	if (at < JOB_FIXED || at > length || length - at < 2 + JOB_TRIGGER ||
	    get_u16(data + at) == 0)
		return "";
	trigger = data + at + 2;
	kind = get_u32(trigger + 32);
	if (kind >= sizeof(kinds) / sizeof(kinds[0]))
		return "";
	if (kind > 4)
		return kinds[kind];
	when = arena_printf(arena, "%s, from %04u-%02u-%02u %02u:%02u", kinds[kind],
	    get_u16(trigger + 4), get_u16(trigger + 6), get_u16(trigger + 8), get_u16(trigger + 16),
	    get_u16(trigger + 18));
	return when ? when : "";
}

static bool read_job(
    const uint8_t *data, size_t length, struct arena *arena, struct task_file *task)
{
	size_t at;

	if (length < JOB_FIXED + 2 || get_u16(data + 2) != JOB_VERSION)
		return false;
	at = get_u16(data + 20); /* App Name Len Offset */
	if (at < JOB_FIXED)
		return false;
	if (!job_text(data, length, &at, arena, &task->program) ||
	    !job_text(data, length, &at, arena, &task->arguments) ||
	    !job_text(data, length, &at, arena, &task->folder) ||
	    !job_text(data, length, &at, arena, &task->author) ||
	    !job_text(data, length, &at, arena, &task->comment))
		return false;
	task->is_off = (get_u32(data + 48) & JOB_DISABLED) != 0;
	task->when = job_when(data, length, arena);
	return true;
}

/* --- XML --- */

/* "2023-01-06T18:00:00" as "2023-01-06 18:00" */
static char *moment_words(const char *moment, struct arena *arena)
{
	return strlen(moment) >= 16 && moment[10] == 'T'
		   ? arena_printf(arena, "%.10s %.5s", moment, moment + 11)
		   : arena_strdup(arena, moment);
}

static const char *xml_when(const char *xml, struct arena *arena)
{
	static const struct {
		const char *sign, *start, *words;
	} kinds[] = {{"Task/Triggers/CalendarTrigger/ScheduleByDay",
			 "Task/Triggers/CalendarTrigger/StartBoundary", "every day"},
	    {"Task/Triggers/CalendarTrigger/ScheduleByWeek",
		"Task/Triggers/CalendarTrigger/StartBoundary", "every week"},
	    {"Task/Triggers/CalendarTrigger", "Task/Triggers/CalendarTrigger/StartBoundary",
		"every month"},
	    {"Task/Triggers/TimeTrigger", "Task/Triggers/TimeTrigger/StartBoundary", "once"},
	    {"Task/Triggers/LogonTrigger", NULL, "at log-on"},
	    {"Task/Triggers/BootTrigger", NULL, "at start-up"},
	    {"Task/Triggers/IdleTrigger", NULL, "when idle"},
	    {"Task/Triggers/SessionStateChangeTrigger", NULL, "when a session begins or ends"},
	    {"Task/Triggers/EventTrigger", NULL, "at an event"}};

	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++) {
		char *start, *words = NULL;

		if (!xml_has(xml, kinds[i].sign))
			continue;
		start = kinds[i].start ? xml_element(xml, kinds[i].start, arena) : NULL;
		if (start && *start)
			words = arena_printf(
			    arena, "%s, from %s", kinds[i].words, moment_words(start, arena));
		return words ? words : kinds[i].words;
	}
	return "by hand";
}

static bool read_xml(const char *xml, struct arena *arena, struct task_file *task)
{
	const struct {
		const char *path;
		const char **text;
	} texts[] = {{"Task/RegistrationInfo/Author", &task->author},
	    {"Task/RegistrationInfo/Description", &task->comment},
	    {"Task/Actions/Exec/Command", &task->program},
	    {"Task/Actions/Exec/Arguments", &task->arguments},
	    {"Task/Actions/Exec/WorkingDirectory", &task->folder}};
	const char *enabled;

	if (!xml_has(xml, "Task/Actions"))
		return false;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		*texts[i].text = xml_element(xml, texts[i].path, arena);
		if (!*texts[i].text)
			*texts[i].text = "";
	}
	enabled = xml_element(xml, "Task/Settings/Enabled", arena);
	task->is_off = enabled && strcmp(enabled, "false") == 0;
	task->when = xml_when(xml, arena);
	return true;
}

bool task_file_read(const uint8_t *data, size_t length, struct arena *arena, struct task_file *task)
{
	struct buf text = {0};
	bool good;

	*task = (struct task_file){"", "", "", "", "", "", false};
	if (length > TASK_FILE_LIMIT)
		return false;
	good = read_xml(file_text(data, length, &text), arena, task);
	buf_free(&text);
	return good || read_job(data, length, arena, task);
}
