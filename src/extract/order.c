/* The order of reading: see order.h. */
#include "extract/order.h"

#include "extract/items.h"
#include "ntfs/extents.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Endings of what people make themselves. Common practice, no source. */
static const char own_work[] =
    " jpg jpeg heic heif png tif tiff gif bmp raw dng cr2 cr3 nef arw orf rw2 raf psd"
    " mp4 mov avi mts m2ts mpg mpeg wmv 3gp mkv m4v wav m4a mp3 wma aac flac amr"
    " doc docx docm dot dotx rtf odt ott txt md pdf xps pages wpd wps tex"
    " xls xlsx xlsm xlsb ods csv numbers ppt pptx pptm odp key one pub vsd vsdx odg"
    " pst ost eml msg mbox mbx dbx wab contact vcf ics nk2"
    " mdb accdb odb sqlite db kdb kdbx gnucash qif ofx"
    " svg ai cdr dwg dxf skp stl blend xcf kra indd fh11 mus musx sib mscz cpr als flp"
    " gpx kml kmz url ";

static bool is_own_work(const char *name)
{
	const char *dot = strrchr(name, '.');
	char ending[16];
	size_t length;

	if (dot == NULL || (length = strlen(dot + 1)) == 0 || length > sizeof(ending) - 3)
		return false;
	ending[0] = ' ';
	for (size_t i = 0; i < length; i++) {
		char c = dot[1 + i];

		if (c == ' ')
			return false;
		ending[1 + i] = c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
	}
	ending[1 + length] = ' ';
	ending[2 + length] = '\0';
	return strstr(own_work, ending) != NULL;
}

unsigned order_tier(const struct plan *plan, const struct item *item)
{
	const struct group *group = item->group == NONE ? NULL : &plan->groups[item->group];

	if (group == NULL || strcmp(group->place, "settings") == 0 ||
	    strcmp(group->place, "registry") == 0)
		return 2;
	if (is_own_work(item_name(plan, item)))
		return 0;
	return group->person != SIZE_MAX ? 1 : 2;
}

struct key {
	uint64_t place;
	uint32_t drive;
	uint32_t item;
	uint8_t tier;
};

static int by_place(const void *a, const void *b)
{
	const struct key *one = a, *two = b;

	if (one->drive != two->drive)
		return one->drive < two->drive ? -1 : 1;
	if (one->tier != two->tier)
		return one->tier < two->tier ? -1 : 1;
	if (one->place != two->place)
		return one->place < two->place ? -1 : 1;
	return one->item < two->item ? -1 : one->item > two->item;
}

bool order_sort(const struct plan *plan, uint32_t *list, size_t n_list, bool careful)
{
	struct key *keys = calloc(n_list + 1, sizeof(*keys));

	if (keys == NULL)
		return false;
	for (size_t i = 0; i < n_list; i++) {
		const struct item *item = &plan->items[list[i]];
		size_t drive = plan->survey->volumes[item->volume].drive;

		keys[i] = (struct key){.item = list[i],
		    .drive = (uint32_t)drive,
		    .place = extents_place(item_catalogue(plan, item), item_stream(plan, item))};
		if (careful || plan->survey->drives[drive].about.spinning)
			keys[i].tier = (uint8_t)order_tier(plan, item);
	}
	if (n_list > 1)
		qsort(keys, n_list, sizeof(*keys), by_place);
	for (size_t i = 0; i < n_list; i++)
		list[i] = keys[i].item;
	free(keys);
	return true;
}
