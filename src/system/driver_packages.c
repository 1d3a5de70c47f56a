/* Driver packages: see driver_packages.h. */
#include "system/driver_packages.h"

#include "base/bytes.h"
#include "base/utf.h"
#include "ntfs/data.h"
#include "system/inner.h"
#include "system/shell_link.h"

#include <stdio.h>
#include <string.h>

#define SETUP_LIMIT ((size_t)256 << 10) /* bytes of a set-up file */
#define SETUPS_LIMIT 400u
#define FOLDERS_LIMIT 8000u
#define LINES_LIMIT 20000u
#define COMPARED_LIMIT 4u /* set-up files of the same size, for one package */

/* --- set-up files --- */

/* One line without its blanks and remark, in `line`. False at the end. */
static bool next_line(const char **text, char *line, size_t size)
{
	const char *start = *text, *end = start + strcspn(start, "\r\n");
	size_t length;

	if (!*start)
		return false;
	*text = end + strspn(end, "\r\n");
	while (start < end && (*start == ' ' || *start == '\t'))
		start++;
	length = strcspn(start, ";\r\n");
	while (length > 0 && (start[length - 1] == ' ' || start[length - 1] == '\t'))
		length--;
	snprintf(line, size, "%.*s", (int)(length < size - 1 ? length : size - 1), start);
	return true;
}

/* The value of "name = value", without quotes; NULL when the line is of another name. */
static const char *value_of(char *line, const char *name)
{
	char *value = line + strlen(name);

	if (!utf_starts_fold(line, name))
		return NULL;
	value += strspn(value, " \t");
	if (*value != '=')
		return NULL;
	value += 1 + strspn(value + 1, " \t\"");
	value[strcspn(value, "\"")] = '\0';
	return value;
}

/* "%Maker%" stands for a text of the section [Strings]. */
static void expand(const char *text, char *value, size_t size)
{
	char name[128], line[512], wanted[128];
	bool inside = false;
	size_t length = strlen(value);

	if (length < 3 || length >= sizeof(name) || value[0] != '%' || value[length - 1] != '%')
		return;
	snprintf(wanted, sizeof(wanted), "%.*s", (int)(length - 2), value + 1);
	for (unsigned i = 0; i < LINES_LIMIT && next_line(&text, line, sizeof(line)); i++) {
		const char *found;

		if (line[0] == '[')
			inside = utf_starts_fold(line, "[Strings]");
		else if (inside && (found = value_of(line, wanted))) {
			snprintf(value, size, "%.*s", (int)size - 1, found);
			return;
		}
	}
}

void setup_info_read(const uint8_t *data, size_t length, struct setup_info *info)
{
	struct arena arena = {0};
	bool is_wide = length >= 2 && get_u16(data) == 0xFEFF, inside = false;
	char *all = is_wide ? utf_arena_from_utf16(&arena, data + 2, length / 2 - 1, NULL)
			    : shell_text_8bit(&arena, data, length);
	const char *text = all;
	char line[512];

	*info = (struct setup_info){0};
	for (unsigned i = 0; all && i < LINES_LIMIT && next_line(&text, line, sizeof(line)); i++) {
		const char *value;

		if (line[0] == '[')
			inside = utf_starts_fold(line, "[Version]");
		if (!inside)
			continue;
		if ((value = value_of(line, "Class")))
			snprintf(info->device_class, sizeof(info->device_class), "%.63s", value);
		else if ((value = value_of(line, "Provider")))
			snprintf(info->provider, sizeof(info->provider), "%.127s", value);
		else if ((value = value_of(line, "DriverVer")))
			snprintf(info->version, sizeof(info->version), "%.63s", value);
	}
	if (all)
		expand(all, info->provider, sizeof(info->provider));
	arena_free(&arena);
}

/* --- packages --- */

static const struct stream *unnamed(const struct catalogue *catalogue, uint32_t node)
{
	const struct stream *stream = catalogue_stream(catalogue, node, "");

	return stream && data_content(catalogue, stream) == CONTENT_READABLE ? stream : NULL;
}

static bool is_setup(const char *name)
{
	size_t length = strlen(name);

	return length > 4 && utf_equal_fold(name + length - 4, ".inf");
}

/* 64 or 32 from "meadow20.inf_amd64_5eed...", 0 when it does not say. */
static unsigned bits_of(const char *folder)
{
	const char *mark = strstr(folder, ".inf_");

	if (!mark)
		return 0;
	if (utf_starts_fold(mark + 5, "amd64_") || utf_starts_fold(mark + 5, "arm64_"))
		return 64;
	return utf_starts_fold(mark + 5, "x86_") ? 32 : 0;
}

/* The package's folder: the one with a set-up file of the same bytes. NONE: it is not there. */
static uint32_t find_package(
    const struct catalogue *catalogue, uint32_t store, const uint8_t *bytes, size_t length)
{
	const uint32_t *folders, *files;
	size_t n_folders = store == NONE ? 0 : catalogue_children(catalogue, store, &folders);
	unsigned n_compared = 0;

	for (size_t i = 0; i < n_folders && i < FOLDERS_LIMIT; i++) {
		uint32_t folder = catalogue->entries[folders[i]].node;
		size_t n_files = catalogue_children(catalogue, folder, &files);

		for (size_t k = 0; k < n_files && k < 64; k++) {
			const struct entry *entry = &catalogue->entries[files[k]];
			const struct stream *stream = unnamed(catalogue, entry->node);
			struct arena arena = {0};
			struct holes holes = {0};
			const uint8_t *other;
			size_t other_length;
			bool same;

			if (!stream || stream->size != length ||
			    !is_setup(catalogue_name(catalogue, entry->name)))
				continue;
			if (n_compared++ >= COMPARED_LIMIT)
				return NONE;
			other = data_load(
			    catalogue, stream, SETUP_LIMIT, &arena, &other_length, &holes);
			same = other && other_length == length && memcmp(other, bytes, length) == 0;
			holes_free(&holes);
			arena_free(&arena);
			if (same)
				return folders[i];
		}
	}
	return NONE;
}

static bool keep(struct survey *survey, struct old_system *system, const struct setup_info *info,
    uint32_t package)
{
	const struct catalogue *catalogue = survey_catalogue(survey, system->volume);
	struct driver_package *driver = &system->drivers[system->n_drivers];
	const struct entry *entry = &catalogue->entries[package];
	struct buf path = {0};

	catalogue_path(catalogue, package, &path);
	*driver = (struct driver_package){.is_scanner = utf_equal_fold(info->device_class, "Image"),
	    .provider = arena_strdup(&survey->arena, info->provider),
	    .version = arena_strdup(&survey->arena, info->version),
	    .folder = arena_printf(&survey->arena, "%c:%s", system->letter, buf_text(&path)),
	    .bits = bits_of(catalogue_name(catalogue, entry->name)),
	    .bytes = survey_sum(survey, (struct location){system->volume, entry->node}).bytes};
	buf_free(&path);
	if (!driver->provider || !driver->version || !driver->folder)
		return false;
	system->n_drivers++;
	return true;
}

static bool look_at_setup(
    struct survey *survey, struct old_system *system, uint32_t node, uint32_t store)
{
	const struct catalogue *catalogue = survey_catalogue(survey, system->volume);
	const struct stream *stream = unnamed(catalogue, node);
	struct arena arena = {0};
	struct holes holes = {0};
	struct setup_info info = {0};
	size_t length = 0;
	const uint8_t *bytes = NULL;
	uint32_t package = NONE;
	bool good = true;

	if (stream)
		bytes = data_load(catalogue, stream, SETUP_LIMIT, &arena, &length, &holes);
	if (bytes)
		setup_info_read(bytes, length, &info);
	if (utf_equal_fold(info.device_class, "Printer") ||
	    utf_equal_fold(info.device_class, "Image"))
		package = find_package(catalogue, store, bytes, length);
	if (package != NONE)
		good = keep(survey, system, &info, package);
	holes_free(&holes);
	arena_free(&arena);
	return good;
}

bool driver_packages_find(struct survey *survey, struct old_system *system, struct error *error)
{
	const struct catalogue *catalogue = survey_catalogue(survey, system->volume);
	uint32_t setups = catalogue_lookup(catalogue, system->windows, "INF");
	uint32_t store =
	    catalogue_lookup(catalogue, system->windows, "System32\\DriverStore\\FileRepository");
	const uint32_t *children;
	size_t count = setups == NONE ? 0 : catalogue_children(catalogue, setups, &children);

	system->drivers = arena_array(&survey->arena, SETUPS_LIMIT, sizeof(*system->drivers));
	if (!system->drivers)
		return error_no_memory(error);
	for (size_t i = 0, n = 0; i < count && n < SETUPS_LIMIT; i++) {
		const struct entry *entry = &catalogue->entries[children[i]];
		const char *name = catalogue_name(catalogue, entry->name);

		if (!utf_starts_fold(name, "oem") || !is_setup(name))
			continue;
		n++;
		if (traces_spare(survey, system->volume))
			break;
		if (survey_is_stopped(error))
			return false;
		if (!look_at_setup(survey, system, entry->node, store))
			return error_no_memory(error);
	}
	return true;
}
