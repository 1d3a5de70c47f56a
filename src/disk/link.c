/* How fast a drive on USB is connected; see drives.h. */
#include "disk/drives.h"

#include "base/json.h"

#define USB_3 5000u /* Mbit/s: from there on the drive itself is what takes the time */
#define USB_2 480u

void drive_link_to_json(const struct drive *drive, struct json *json)
{
	if (drive->link_megabits == 0) {
		json_put_null(json);
		return;
	}
	json_begin_object(json);
	json_key_text(json, "bus", drive->bus);
	json_key_unsigned(json, "megabits", drive->link_megabits);
	json_end(json);
}

void drive_find_slow_link(const struct drive *drive, struct findings *findings)
{
	static const char advice[] =
	    "Plug it straight into a blue USB port, or one marked SS, with a USB 3 adapter and the "
	    "adapter's own cable. Where the PC has no such port, it is only slow.";

	if (drive->link_megabits == 0 || drive->link_megabits >= USB_3)
		return;
	/*
	 * What arrives of 480 Mbit/s is about 35 MB/s, of 12 Mbit/s about 1 MB/s (common practice,
	 * no source).
	 */
	if (drive->link_megabits >= USB_2)
		findings_add(findings, WEIGHT_NOTE, "slow-link", drive->path, advice,
		    "The drive is connected at the speed of USB 2 (%u Mbit/s): reading takes about "
		    "50 minutes for each 100 GB.",
		    drive->link_megabits);
	else
		findings_add(findings, WEIGHT_CAUTION, "slow-link", drive->path, advice,
		    "The drive is connected at the speed of USB 1 (%u Mbit/s): reading takes more "
		    "than a day for each 100 GB.",
		    drive->link_megabits);
}
