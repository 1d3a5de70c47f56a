/* Drives from sysfs; see drives.h. */
#include "disk/drives.h"

#include "base/buf.h"
#include "base/json.h"
#include "base/utf.h"
#include "disk/sysfs.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

/* sysfs counts sizes in these, whatever the drive's sector size. */
#define SYSFS_SECTOR 512u
#define TEXT_MAX 256

static bool starts_with(const char *text, const char *start)
{
	return strncmp(text, start, strlen(start)) == 0;
}

/* What a drive says about itself can be any bytes: made proper UTF-8. NULL: no memory. */
static const char *keep(struct arena *arena, const char *text)
{
	struct buf buf = {0};
	const char *kept;

	utf_clean(&buf, text, strlen(text));
	kept = buf.failed ? NULL : arena_strdup(arena, buf_text(&buf));
	buf_free(&buf);
	return kept;
}

static bool starts_with_number(const char *text, const char *word)
{
	size_t length = strlen(word);

	return starts_with(text, word) && text[length] >= '0' && text[length] <= '9';
}

/* The part of the device path that says how the drive is connected. */
static const char *bus_of_path(const char *path, const char *folder)
{
	static const struct {
		const char *word, *bus;
	} buses[] = {
	    /* Outer ones first: a USB adapter shows its drive as SCSI, and often over ATA. */
	    {"/usb", "USB"},
	    {"/fw", "FireWire"},
	    {"/session", "iSCSI"},
	    {"/nvme", "NVMe"},
	    {"/virtio", "virtio"},
	    {"/ata", "ATA"},
	    {"/mmc", "SD"},
	    {"/vmbus", "VMBus"},
	    {"/vbd-", "Xen"},
	    {"/block/loop", "loop device"},
	    {"/block/md", "RAID"},
	    {"/block/dm-", "mapped device"},
	    {"/host", "SCSI"},
	};
	char type[32];

	for (size_t i = 0; i < sizeof(buses) / sizeof(buses[0]); i++) {
		const char *found = path;
		size_t length = strlen(buses[i].word);

		while ((found = strstr(found, buses[i].word)) != NULL) {
			found += length;
			if ((*found >= '0' && *found <= '9') || *found == '-' || *found == '_' ||
			    *found == '/')
				break;
		}
		if (found == NULL)
			continue;
		if (strcmp(buses[i].bus, "SD") == 0 &&
		    sysfs_text(folder, "device/type", type, sizeof(type)) &&
		    strcmp(type, "MMC") == 0)
			return "eMMC";
		return buses[i].bus;
	}
	return "";
}

/* The device path below root/sys, so that the root's own name cannot be taken for a bus. */
static const char *below_sys(const char *root, const char *folder)
{
	char resolved[PATH_MAX];
	struct sysfs_path sys;

	if (!sysfs_join(&sys, root, "sys") || realpath(sys.text, resolved) == NULL ||
	    !starts_with(folder, resolved))
		return folder;
	return folder + strlen(resolved);
}

static const char *read_model(struct arena *arena, const char *folder)
{
	char vendor[TEXT_MAX], model[TEXT_MAX], both[2 * TEXT_MAX + 2];

	if (!sysfs_text(folder, "device/model", model, sizeof(model)) &&
	    !sysfs_text(folder, "device/name", model, sizeof(model)))
		return "";
	/* For ATA drives the kernel writes "ATA" there; for virtio a number. */
	if (!sysfs_text(folder, "device/vendor", vendor, sizeof(vendor)) ||
	    strcmp(vendor, "ATA") == 0 || starts_with(vendor, "0x"))
		return keep(arena, model);
	snprintf(both, sizeof(both), "%s %s", vendor, model);
	return keep(arena, both);
}

/* Vital product data, page 80: four bytes of header, then the serial number (SPC-4, 7.8.15). */
static bool serial_of_page(const char *folder, char *out, size_t size)
{
	uint8_t page[TEXT_MAX + 4];
	ssize_t got = sysfs_bytes(folder, "device/vpd_pg80", page, sizeof(page));
	size_t length, start = 4;

	if (got <= 4 || page[1] != 0x80)
		return false;
	length = (size_t)page[2] << 8 | page[3];
	if (length > (size_t)got - 4)
		length = (size_t)got - 4;
	while (length > 0 && (page[start] == ' ' || page[start] == 0))
		start++, length--;
	while (length > 0 && (page[start + length - 1] == ' ' || page[start + length - 1] == 0))
		length--;
	if (length == 0 || length >= size || memchr(page + start, 0, length) != NULL)
		return false;
	memcpy(out, page + start, length);
	out[length] = '\0';
	return true;
}

/* The folder of the USB device that the drive is in, some levels up: it has the file idVendor. */
static bool usb_device(const char *folder, struct sysfs_path *up)
{
	struct sysfs_path mark;

	if (!sysfs_join(up, folder, ""))
		return false;
	for (int level = 0; level < 32; level++) {
		char *slash = strrchr(up->text, '/');

		if (slash == NULL || slash == up->text)
			return false;
		*slash = '\0';
		if (sysfs_join(&mark, up->text, "idVendor") && access(mark.text, F_OK) == 0)
			return true;
	}
	return false;
}

static bool serial_of_usb(const char *folder, char *out, size_t size)
{
	struct sysfs_path device;

	return usb_device(folder, &device) && sysfs_text(device.text, "serial", out, size);
}

/* Documentation/ABI/testing/sysfs-bus-usb, "speed": Mbit/s, "1.5" for the slowest. */
static unsigned link_of_usb(const char *folder)
{
	struct sysfs_path device;
	char text[32];
	unsigned long speed;

	if (!usb_device(folder, &device) || !sysfs_text(device.text, "speed", text, sizeof(text)))
		return 0;
	speed = strtoul(text, NULL, 10);
	return speed <= 1000000 ? (unsigned)speed : 0;
}

static const char *read_serial(struct arena *arena, const char *folder, const char *bus)
{
	char serial[TEXT_MAX];

	if (sysfs_text(folder, "device/serial", serial, sizeof(serial)) ||
	    sysfs_text(folder, "serial", serial, sizeof(serial)) ||
	    serial_of_page(folder, serial, sizeof(serial)) ||
	    (strcmp(bus, "USB") == 0 && serial_of_usb(folder, serial, sizeof(serial))) ||
	    sysfs_text(folder, "wwid", serial, sizeof(serial)) ||
	    sysfs_text(folder, "device/wwid", serial, sizeof(serial)))
		return keep(arena, serial);
	return "";
}

/* Everything but path and size. */
static bool read_drive(struct arena *arena, const char *root, const char *folder,
    struct drive *drive, struct error *error)
{
	drive->number = sysfs_device_number(folder);
	drive->bus = bus_of_path(below_sys(root, folder), folder);
	drive->model = read_model(arena, folder);
	drive->serial = read_serial(arena, folder, drive->bus);
	drive->sector_size = (uint32_t)sysfs_number(folder, "queue/logical_block_size", 512);
	drive->physical_sector_size =
	    (uint32_t)sysfs_number(folder, "queue/physical_block_size", drive->sector_size);
	drive->removable = sysfs_number(folder, "removable", 0) != 0;
	drive->spinning = sysfs_number(folder, "queue/rotational", 0) != 0;
	drive->read_only = sysfs_number(folder, "ro", 0) != 0;
	if (strcmp(drive->bus, "USB") == 0)
		drive->link_megabits = link_of_usb(folder);
	return (drive->model != NULL && drive->serial != NULL) || error_no_memory(error);
}

static bool is_listed(const char *name, const char *folder)
{
	struct sysfs_path file;

	/* The boot areas of an eMMC (JESD84-B51, 6.2) hold firmware and nobody's files. */
	if (starts_with_number(name, "mmcblk") && strstr(name, "boot") != NULL)
		return false;
	if (starts_with_number(name, "ram") || starts_with_number(name, "zram") ||
	    starts_with_number(name, "sr") || starts_with_number(name, "fd"))
		return false;
	if (starts_with_number(name, "loop") &&
	    !sysfs_text(folder, "loop/backing_file", file.text, sizeof(file.text)))
		return false;
	return sysfs_number(folder, "size", 0) > 0;
}

static int compare_drives(const void *a, const void *b)
{
	return strverscmp(((const struct drive *)a)->path, ((const struct drive *)b)->path);
}

/* sysfs writes '!' where the name has a '/'. */
static const char *device_path(struct arena *arena, const char *name)
{
	char *path = arena_printf(arena, "/dev/%s", name);

	for (char *c = path; c != NULL && *c != '\0'; c++)
		if (*c == '!')
			*c = '/';
	return path;
}

struct listing {
	struct drive *items;
	size_t count, capacity;
};

static bool add_drive(struct arena *arena, const char *root, const char *blocks, const char *name,
    struct listing *listing, struct error *error)
{
	struct sysfs_path link, folder;
	struct drive drive = {0};

	if (name[0] == '.' || !sysfs_join(&link, blocks, name) ||
	    realpath(link.text, folder.text) == NULL || !is_listed(name, folder.text))
		return true;
	drive.path = device_path(arena, name);
	drive.size = sysfs_number(folder.text, "size", 0) * SYSFS_SECTOR;
	if (!read_drive(arena, root, folder.text, &drive, error))
		return false;
	if (drive.path == NULL ||
	    !array_reserve(&listing->items, &listing->capacity, listing->count + 1, sizeof(drive)))
		return error_no_memory(error);
	listing->items[listing->count++] = drive;
	return true;
}

bool drives_list(struct arena *arena, const char *root, struct drive **drives, size_t *count,
    struct error *error)
{
	struct listing listing = {0};
	struct sysfs_path blocks;
	struct dirent *entry;
	bool fine = true;
	DIR *stream = sysfs_join(&blocks, root, "sys/block") ? opendir(blocks.text) : NULL;

	if (stream == NULL)
		return error_set_errno(error, STATUS_OTHER, errno,
		    "the drives of this computer cannot be listed (%s/sys/block)", root);
	while (fine && (entry = readdir(stream)) != NULL)
		fine = add_drive(arena, root, blocks.text, entry->d_name, &listing, error);
	closedir(stream);
	if (fine && listing.count > 0)
		qsort(listing.items, listing.count, sizeof(*listing.items), compare_drives);
	*drives = arena_array(arena, listing.count, sizeof(**drives));
	if (fine && *drives == NULL)
		fine = error_no_memory(error);
	if (fine && listing.count > 0)
		memcpy(*drives, listing.items, listing.count * sizeof(**drives));
	*count = listing.count;
	free(listing.items);
	return fine;
}

static bool describe_image(const struct stat *status, struct drive *drive)
{
	drive->model = drive->serial = "";
	drive->bus = "image file";
	drive->size = (uint64_t)status->st_size;
	drive->sector_size = drive->physical_sector_size = 512;
	drive->is_image = true;
	drive->read_only = (status->st_mode & 0222) == 0;
	return true;
}

bool drive_describe(struct arena *arena, const char *root, const char *path, struct drive *drive,
    struct error *error)
{
	struct sysfs_path own, folder;
	struct stat status;

	memset(drive, 0, sizeof(*drive));
	drive->path = arena_strdup(arena, path);
	if (drive->path == NULL)
		return error_no_memory(error);
	if (stat(path, &status) != 0)
		return errno == ENOENT || errno == ENOTDIR
			   ? error_set(error, STATUS_NO_VOLUME, "%s does not exist", path)
			   : error_set_errno(
				 error, STATUS_NO_VOLUME, errno, "%s cannot be found", path);
	if (!S_ISBLK(status.st_mode))
		return describe_image(&status, drive);
	if (!sysfs_device_folder(root, status.st_rdev, &own) ||
	    !sysfs_device_folder(root, block_whole(root, status.st_rdev), &folder))
		return error_set(
		    error, STATUS_NO_VOLUME, "the system knows nothing about %s", path);
	drive->size = sysfs_number(own.text, "size", 0) * SYSFS_SECTOR;
	return read_drive(arena, root, folder.text, drive, error);
}

/* Of a sub-folder of a drive's folder in sysfs: is it a partition that begins there? */
static bool begins_at(const char *folder, uint64_t offset)
{
	struct sysfs_path mark;

	return sysfs_join(&mark, folder, "partition") && access(mark.text, F_OK) == 0 &&
	       offset % SYSFS_SECTOR == 0 &&
	       sysfs_number(folder, "start", UINT64_MAX) == offset / SYSFS_SECTOR;
}

const char *drive_volume_device(struct arena *arena, const char *root, dev_t number,
    uint64_t offset, bool is_whole)
{
	struct sysfs_path folder, part;
	const char *found = NULL;
	struct dirent *entry;
	DIR *stream;

	if (!sysfs_device_folder(root, number, &folder))
		return NULL;
	if (is_whole)
		return device_path(arena, strrchr(folder.text, '/') + 1);
	stream = opendir(folder.text);
	while (stream != NULL && found == NULL && (entry = readdir(stream)) != NULL)
		if (entry->d_name[0] != '.' && sysfs_join(&part, folder.text, entry->d_name) &&
		    begins_at(part.text, offset))
			found = device_path(arena, entry->d_name);
	if (stream != NULL)
		closedir(stream);
	return found;
}

void drive_keys_to_json(const struct drive *drive, struct json *json)
{
	json_key_text(json, "path", drive->path);
	json_key_text(json, "model", drive->model);
	json_key_text(json, "serial", drive->serial);
	json_key_text(json, "bus", drive->bus);
	json_key_unsigned(json, "size", drive->size);
}
