/* Mains or battery: see power.h. */
#include "console/power.h"

#include "disk/sysfs.h"

#include <dirent.h>
#include <string.h>

/* More supplies than any PC has: a bound for the loop. */
#define MOST_SUPPLIES 64

struct supplies {
	bool has_battery, discharging;
	bool has_mains, mains_online;
	int percent;
};

static void add_battery(struct supplies *supplies, const char *folder)
{
	uint64_t percent = sysfs_number(folder, "capacity", UINT64_MAX);
	char text[32];

	/* The battery of a mouse or a headset says "Device". */
	if (sysfs_text(folder, "scope", text, sizeof(text)) && strcmp(text, "Device") == 0)
		return;
	if (sysfs_number(folder, "present", 1) == 0)
		return;
	supplies->has_battery = true;
	if (sysfs_text(folder, "status", text, sizeof(text)) && strcmp(text, "Discharging") == 0)
		supplies->discharging = true;
	if (percent <= 100 && (int)percent > supplies->percent)
		supplies->percent = (int)percent;
}

static void add(struct supplies *supplies, const char *folder)
{
	char type[32];

	if (!sysfs_text(folder, "type", type, sizeof(type)))
		return;
	if (strcmp(type, "Battery") == 0) {
		add_battery(supplies, folder);
	} else if (strcmp(type, "Mains") == 0 || strcmp(type, "USB") == 0) {
		supplies->has_mains = true;
		if (sysfs_number(folder, "online", 0) != 0)
			supplies->mains_online = true;
	}
}

struct power power_look(const char *root)
{
	struct supplies supplies = {.percent = POWER_UNKNOWN};
	struct sysfs_path all, one;
	struct dirent *entry;
	DIR *folder;

	if (!sysfs_join(&all, root, "sys/class/power_supply"))
		return (struct power){.percent = POWER_UNKNOWN};
	folder = opendir(all.text);
	for (int i = 0; folder != NULL && i < MOST_SUPPLIES; i++) {
		entry = readdir(folder);
		if (entry == NULL)
			break;
		if (entry->d_name[0] != '.' && sysfs_join(&one, all.text, entry->d_name))
			add(&supplies, one.text);
	}
	if (folder != NULL)
		closedir(folder);
	return (struct power){
	    .on_battery = supplies.has_battery && !supplies.mains_online &&
			  (supplies.discharging || supplies.has_mains),
	    .percent = supplies.percent,
	};
}
