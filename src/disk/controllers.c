/* Storage controllers that hide drives; see controllers.h. */
#include "disk/controllers.h"

#include "disk/sysfs.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define CONTROLLERS_MAX 256
#define VENDOR_INTEL 0x8086u

enum class {
	CLASS_FLOPPY = 0x0102,
	CLASS_RAID = 0x0104,
	CLASS_SD_HOST = 0x0805,
};

struct controller {
	char address[64]; /* "0000:00:17.0" */
	unsigned class;   /* base class and sub-class */
	unsigned vendor, device;
	char driver[64];        /* "" when none */
	unsigned long remapped; /* NVMe drives kept behind it */
};

static const char warnings[] =
    "It is safest to take the drive out and read it with an NVMe adapter. Do not change the "
    "storage mode in the PC's firmware lightly: the old system may not start any more, a set of "
    "drives can break, and a locked drive asks for its recovery key. If it has to be, have the "
    "recovery key at hand, be sure that the drives form no set, and set the mode back afterwards.";

static const char adapter[] =
    "Take its drives out and read them with a USB adapter, or put them into another PC. Do not "
    "change the storage mode in the PC's firmware instead: the old system may not start any more, "
    "a set of drives can break, and a locked drive asks for its recovery key.";

static unsigned long read_hex(const char *folder, const char *file)
{
	char text[64];

	return sysfs_text(folder, file, text, sizeof(text)) ? strtoul(text, NULL, 16) : 0;
}

/* The last part of what the link `driver` leads to. */
static void read_driver(const char *folder, char *out, size_t size)
{
	struct sysfs_path link, target;
	const char *name;
	ssize_t length;

	out[0] = '\0';
	if (!sysfs_join(&link, folder, "driver"))
		return;
	length = readlink(link.text, target.text, sizeof(target.text) - 1);
	if (length <= 0)
		return;
	target.text[length] = '\0';
	name = strrchr(target.text, '/');
	snprintf(out, size, "%.60s", name != NULL ? name + 1 : target.text);
}

static bool read_controller(const char *folder, const char *address, struct controller *controller)
{
	*controller = (struct controller){.class = (unsigned)(read_hex(folder, "class") >> 8)};
	if ((controller->class >> 8 != 0x01 || controller->class == CLASS_FLOPPY) &&
	    controller->class != CLASS_SD_HOST)
		return false;
	snprintf(controller->address, sizeof(controller->address), "%.60s", address);
	controller->vendor = (unsigned)read_hex(folder, "vendor");
	controller->device = (unsigned)read_hex(folder, "device");
	controller->remapped = (unsigned long)sysfs_number(folder, "remapped_nvme", 0);
	read_driver(folder, controller->driver, sizeof(controller->driver));
	return true;
}

/* With what cannot be seen when it has no driver. */
struct class_words {
	unsigned class;
	const char *words, *unseen;
};

static const struct class_words class_words[] = {
    {0x0100, "a SCSI controller", "drives on it are"},
    {0x0101, "an IDE controller", "drives on it are"},
    {CLASS_RAID, "a RAID controller", "drives on it are"},
    {0x0105, "an ATA controller", "drives on it are"},
    {0x0106, "a SATA controller", "drives on it are"},
    {0x0107, "a SAS controller", "drives on it are"},
    {0x0108, "an NVMe drive", "it is"},
    {0x0109, "a UFS controller", "drives on it are"},
    {CLASS_SD_HOST, "an SD card reader", "what is in it is"},
    {0, "a storage controller", "drives on it are"},
};

static const struct class_words *words_of(unsigned class)
{
	const struct class_words *words = class_words;

	while (words->class != 0 && words->class != class)
		words++;
	return words;
}

static void say(const struct controller *controller, struct findings *findings)
{
	const struct class_words *words = words_of(controller->class);

	if (controller->driver[0] == '\0')
		findings_add(findings, WEIGHT_CAUTION, "controller-no-driver", controller->address,
		    controller->class == CLASS_SD_HOST ? "Read its card with a USB card reader. "
							 "What is soldered into the PC (eMMC) "
							 "only this PC can reach."
						       : adapter,
		    "This PC has %s (%04x:%04x) that this system cannot drive: %s not seen.",
		    words->words, controller->vendor, controller->device, words->unseen);
	else if (controller->remapped > 0)
		findings_add(findings, WEIGHT_LOSS, "controller-hides-nvme", controller->address,
		    warnings,
		    "The storage controller (%04x:%04x) works in Intel's RAID mode and hides %lu "
		    "NVMe drive%s, which this system cannot reach.",
		    controller->vendor, controller->device, controller->remapped,
		    controller->remapped == 1 ? "" : "s");
	else if (controller->class == CLASS_RAID && controller->vendor == VENDOR_INTEL &&
		 strcmp(controller->driver, "ahci") == 0)
		findings_add(findings, WEIGHT_NOTE, "controller-raid-mode", controller->address,
		    "Leave the storage mode in the PC's firmware as it is.",
		    "The storage controller (%04x:%04x) works in Intel's RAID mode; each of its "
		    "drives is read on its own. A drive that belongs to a set is named as such.",
		    controller->vendor, controller->device);
}

static int by_address(const void *a, const void *b)
{
	return strcmp(
	    ((const struct controller *)a)->address, ((const struct controller *)b)->address);
}

void controllers_look(const char *root, struct findings *findings)
{
	struct controller *found = calloc(CONTROLLERS_MAX, sizeof(*found));
	struct sysfs_path devices, folder;
	struct dirent *entry;
	size_t count = 0;
	DIR *stream =
	    sysfs_join(&devices, root, "sys/bus/pci/devices") ? opendir(devices.text) : NULL;

	while (stream != NULL && found != NULL && count < CONTROLLERS_MAX &&
	       (entry = readdir(stream)) != NULL)
		if (entry->d_name[0] != '.' && sysfs_join(&folder, devices.text, entry->d_name) &&
		    read_controller(folder.text, entry->d_name, &found[count]))
			count++;
	if (stream != NULL)
		closedir(stream);
	/* The order of a folder is no order. */
	if (count > 0)
		qsort(found, count, sizeof(*found), by_address);
	for (size_t i = 0; i < count; i++)
		say(&found[i], findings);
	free(found);
}
