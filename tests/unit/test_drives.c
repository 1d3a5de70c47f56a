/*
 * Drives from a copy of sysfs that the test makes. The layout: Linux kernel documentation,
 * Documentation/ABI/stable/sysfs-block and testing/sysfs-class-block; the device paths are those
 * that such drives have on common PCs (common practice, no source).
 */
#include "unit.h"

#include "disk/device_use.h"
#include "disk/drives.h"
#include "disk/sysfs.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

static char root[] = "/tmp/coldlift-usb1-XXXXXX"; /* a name that must not be taken for a bus */

static void make_folders(const char *path)
{
	char part[1000];

	snprintf(part, sizeof(part), "%s", path);
	for (char *slash = strchr(part + 1, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
		*slash = '\0';
		mkdir(part, 0700);
		*slash = '/';
	}
}

static void put_bytes(const char *name, const void *bytes, size_t length)
{
	char path[1000];
	FILE *file;

	snprintf(path, sizeof(path), "%s/%s", root, name);
	make_folders(path);
	file = fopen(path, "w");
	assert_non_null(file);
	assert_int_equal(fwrite(bytes, 1, length, file), length);
	fclose(file);
}

static void put(const char *folder, const char *file, const char *text)
{
	char name[600];

	snprintf(name, sizeof(name), "sys/devices/%s/%s", folder, file);
	put_bytes(name, text, strlen(text));
}

static void put_link(const char *name, const char *target)
{
	char path[1000];

	snprintf(path, sizeof(path), "%s/%s", root, name);
	make_folders(path);
	assert_int_equal(symlink(target, path), 0);
}

/* A block device's folder with its links from sys/block and sys/dev/block. */
static void add_block(const char *folder, const char *number, const char *size, bool whole)
{
	char name[200], target[300];

	put(folder, "size", size);
	put(folder, "dev", number);
	snprintf(name, sizeof(name), "sys/dev/block/%.*s", (int)strcspn(number, "\n"), number);
	snprintf(target, sizeof(target), "../../devices/%s", folder);
	put_link(name, target);
	if (!whole) {
		put(folder, "partition", "1\n");
		return;
	}
	snprintf(name, sizeof(name), "sys/block/%s", strrchr(folder, '/') + 1);
	snprintf(target, sizeof(target), "../devices/%s", folder);
	put_link(name, target);
	put(folder, "removable", "0\n");
	put(folder, "ro", "0\n");
	put(folder, "queue/rotational", "0\n");
	put(folder, "queue/logical_block_size", "512\n");
	put(folder, "queue/physical_block_size", "4096\n");
}

#define ATA "pci0000:00/0000:00:17.0/ata1/host0/target0:0:0/0:0:0:0/block/sda"
#define USB "pci0000:00/0000:00:14.0/usb2/2-1/2-1:1.0/host6/target6:0:0/6:0:0:0/block/sdb"
#define NVME "pci0000:00/0000:00:1d.0/0000:04:00.0/nvme/nvme0/nvme0n1"
#define CARD "pci0000:00/0000:00:1e.0/mmc_host/mmc0/mmc0:0001/block/mmcblk0"
#define VIRTUAL "virtual/block/"

static void add_ata(void)
{
	static const char page[] = "\0\x80\0\x14        FERN-0012345";

	add_block(ATA, "8:0\n", "1000215216\n", true);
	put(ATA, "queue/rotational", "1\n");
	put(ATA, "device/vendor", "ATA     \n");
	put(ATA, "device/model", "Kestrel K500    \n");
	put_bytes("sys/devices/" ATA "/device/vpd_pg80", page, sizeof(page) - 1);
	add_block(ATA "/sda1", "8:1\n", "2048\n", false);
	add_block(ATA "/sda2", "8:2\n", "4096\n", false);
	put_link("sys/devices/" ATA "/sda2/holders/dm-0",
	    "../../../../../../../../../../virtual/block/dm-0");
}

static void add_others(void)
{
	add_block(USB, "8:16\n", "15628053168\n", true);
	put(USB, "removable", "1\n");
	put(USB, "device/vendor", "Bridge  \n");
	put(USB, "device/model", "Dock \x1b[2J\xff\n");
	put("pci0000:00/0000:00:14.0/usb2/2-1", "idVendor", "1234\n");
	put("pci0000:00/0000:00:14.0/usb2/2-1", "serial", "0000A1\n");
	put("pci0000:00/0000:00:14.0/usb2/2-1", "speed", "480\n");
	add_block(NVME, "259:0\n", "2000409264\n", true);
	put(NVME, "queue/logical_block_size", "4096\n");
	put(NVME, "device/model", "Heron N2                \n");
	put(NVME, "device/serial", "  S-77 \n");
	add_block(CARD, "179:0\n", "62333952\n", true);
	put(CARD, "device/type", "SD\n");
	put(CARD, "device/name", "SL32G\n");
	put(CARD, "device/serial", "0x1a2b3c\n");
	add_block(VIRTUAL "zram0", "253:0\n", "1000\n", true);
	add_block(VIRTUAL "ram0", "1:0\n", "1000\n", true);
	add_block(VIRTUAL "sr0", "11:0\n", "1000\n", true);
	add_block(VIRTUAL "loop0", "7:0\n", "0\n", true);
	add_block(VIRTUAL "loop1", "7:1\n", "2000\n", true);
	add_block(VIRTUAL "dm-0", "252:0\n", "2000\n", true);
	put_link("sys/devices/" VIRTUAL "dm-0/slaves/sda2", "../../../../" ATA "/sda2");
	add_block(VIRTUAL "sdz", "65:144\n", "0\n", true);
}

static int make_copy(void **state)
{
	char text[200];

	(void)state;
	assert_non_null(mkdtemp(root));
	add_ata();
	add_others();
	snprintf(text, sizeof(text), "%s/image", root);
	put(VIRTUAL "loop1", "loop/backing_file", text);
	put_bytes("image", "x", 1);
	return 0;
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *walk)
{
	(void)status;
	(void)kind;
	(void)walk;
	return remove(path);
}

static int drop_copy(void **state)
{
	(void)state;
	return nftw(root, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static void check_drive(const struct drive *drive, const char *path, const char *model,
    const char *serial, const char *bus, uint64_t size)
{
	assert_string_equal(drive->path, path);
	assert_string_equal(drive->model, model);
	assert_string_equal(drive->serial, serial);
	assert_string_equal(drive->bus, bus);
	assert_int_equal(drive->size, size);
	assert_false(drive->is_image);
	assert_false(drive->read_only);
}

static void test_list(void **state)
{
	struct arena arena = {0};
	struct drive *drives;
	struct error error;
	size_t count;

	(void)state;
	assert_true(drives_list(&arena, root, &drives, &count, &error));
	assert_int_equal(count, 6);
	check_drive(&drives[0], "/dev/dm-0", "", "", "mapped device", 2000 * 512);
	check_drive(&drives[1], "/dev/loop1", "", "", "loop device", 2000 * 512);
	check_drive(&drives[2], "/dev/mmcblk0", "SL32G", "0x1a2b3c", "SD", 62333952ull * 512);
	check_drive(&drives[3], "/dev/nvme0n1", "Heron N2", "S-77", "NVMe", 2000409264ull * 512);
	check_drive(
	    &drives[4], "/dev/sda", "Kestrel K500", "FERN-0012345", "ATA", 1000215216ull * 512);
	check_drive(&drives[5], "/dev/sdb", "Bridge Dock \x1b[2J\xEF\xBF\xBD", "0000A1", "USB",
	    15628053168ull * 512);
	assert_int_equal(drives[3].sector_size, 4096);
	assert_int_equal(drives[4].sector_size, 512);
	assert_int_equal(drives[4].physical_sector_size, 4096);
	assert_true(drives[4].spinning);
	assert_false(drives[3].spinning);
	assert_true(drives[5].removable);
	assert_false(drives[4].removable);
	arena_free(&arena);
}

#define USB_DEVICE "pci0000:00/0000:00:14.0/usb2/2-1"

/* The speed that sysfs shows for the USB device above the drive, and the finding it makes. */
static void check_link(const char *speed, unsigned megabits, const char *words)
{
	struct arena arena = {0};
	struct findings findings;
	struct drive *drives;
	struct error error;
	size_t count;

	put(USB_DEVICE, "speed", speed);
	assert_true(drives_list(&arena, root, &drives, &count, &error));
	assert_int_equal(drives[5].link_megabits, megabits);
	findings_init(&findings);
	drive_find_slow_link(&drives[5], &findings);
	assert_int_equal(findings.count, words != NULL);
	if (words != NULL)
		assert_non_null(strstr(findings.items[0].sentence, words));
	findings_free(&findings);
	arena_free(&arena);
}

/* Documentation/ABI/testing/sysfs-bus-usb, "speed"; how long reading takes: common practice. */
static void test_link(void **state)
{
	struct arena arena = {0};
	struct drive *drives;
	struct error error;
	size_t count;

	(void)state;
	check_link("480\n", 480, "50 minutes for each 100 GB");
	check_link("12\n", 12, "more than a day for each 100 GB");
	check_link("1.5\n", 1, "USB 1");
	check_link("5000\n", 5000, NULL);
	check_link("20000\n", 20000, NULL);
	check_link("\n", 0, NULL);
	check_link("fast\n", 0, NULL);
	check_link("99999999999999999999999\n", 0, NULL);
	assert_true(drives_list(&arena, root, &drives, &count, &error));
	assert_int_equal(drives[4].link_megabits, 0); /* ATA */
	arena_free(&arena);
}

static void test_no_sysfs(void **state)
{
	struct arena arena = {0};
	struct drive *drives;
	struct error error;
	size_t count;

	(void)state;
	assert_false(drives_list(&arena, "/nowhere", &drives, &count, &error));
	assert_int_equal(error.status, STATUS_OTHER);
	arena_free(&arena);
}

static void test_layers(void **state)
{
	struct block_set set;
	size_t own;

	(void)state;
	assert_int_equal(block_whole(root, makedev(8, 2)), makedev(8, 0));
	assert_int_equal(block_whole(root, makedev(8, 0)), makedev(8, 0));
	block_set_above(root, makedev(8, 0), &set, &own);
	assert_int_equal(own, 3);
	assert_int_equal(set.count, 4);
	assert_true(block_set_has(&set, makedev(252, 0)));
	block_set_above(root, makedev(8, 1), &set, &own);
	assert_int_equal(set.count, 1);
	block_set_below(root, makedev(252, 0), &set);
	assert_int_equal(set.count, 3);
	assert_true(block_set_has(&set, makedev(8, 0)));
}

/* Makes proc/self/mountinfo and proc/swaps, and asks whether the drive 8:`minor` is free. */
static bool is_free(
    unsigned minor, const char *mounts, const char *swaps, bool *mounted, struct error *error)
{
	struct stat status = {.st_mode = S_IFBLK, .st_rdev = makedev(8, minor)};

	put_bytes("proc/self/mountinfo", mounts, strlen(mounts));
	put_bytes("proc/swaps", swaps, strlen(swaps));
	return device_is_free(root, "/dev/sdx", &status, mounted, error);
}

static void test_in_use(void **state)
{
	static const char line[] = "30 1 %s / %s %s,relatime shared:1 - %s %s %s,errors=continue\n";
	char mounts[400];
	struct error error;
	bool mounted;

	(void)state;
	assert_true(is_free(16, "", "", &mounted, &error));
	assert_false(mounted);
	/* A partition is mounted: by its number, under a name with a space in it. */
	snprintf(mounts, sizeof(mounts), line, "8:1", "/media/old\\040drive", "rw", "ntfs",
	    "/dev/sda1", "rw");
	assert_false(is_free(0, mounts, "", &mounted, &error));
	assert_int_equal(error.status, STATUS_NO_VOLUME);
	assert_non_null(strstr(error.text, "/media/old drive"));
	assert_false(is_free(1, mounts, "", &mounted, &error));
	assert_true(is_free(16, mounts, "", &mounted, &error));
	/* Read-only for this mount only: the file system can still write. */
	snprintf(mounts, sizeof(mounts), line, "8:16", "/mnt", "ro", "ext4", "/dev/sdb", "rw");
	assert_false(is_free(16, mounts, "", &mounted, &error));
	snprintf(mounts, sizeof(mounts), line, "8:16", "/mnt", "ro", "ext4", "/dev/sdb", "ro");
	assert_true(is_free(16, mounts, "", &mounted, &error));
	assert_true(mounted);
	/* Mounted through the mapped device above its partition; and held by it without a mount. */
	snprintf(
	    mounts, sizeof(mounts), line, "252:0", "/mnt", "rw", "ext4", "/dev/mapper/x", "rw");
	assert_false(is_free(0, mounts, "", &mounted, &error));
	assert_non_null(strstr(error.text, "mounted"));
	assert_false(is_free(0, "", "", &mounted, &error));
	assert_non_null(strstr(error.text, "holds it"));
	assert_true(is_free(1, "", "", &mounted, &error));
	/* Lines that are no mounts are passed over. */
	assert_true(
	    is_free(16, "\n - \n1 2 3\n1 2 8:16 / /mnt rw -\n", "Filename\n", &mounted, &error));
}

/* An image file that is mounted through a loop device, and without one. */
static void test_image_in_use(void **state)
{
	char mounts[400], image[200];
	struct stat status;
	struct error error;
	bool mounted;

	(void)state;
	snprintf(image, sizeof(image), "%s/image", root);
	assert_int_equal(stat(image, &status), 0);
	put_bytes("proc/swaps", "", 0);
	snprintf(mounts, sizeof(mounts), "3 1 7:1 / /mnt rw - ext4 /dev/loop1 rw\n");
	put_bytes("proc/self/mountinfo", mounts, strlen(mounts));
	assert_false(device_is_free(root, image, &status, &mounted, &error));
	snprintf(mounts, sizeof(mounts), "3 1 0:50 / /mnt rw - fuseblk %s rw\n", image);
	put_bytes("proc/self/mountinfo", mounts, strlen(mounts));
	assert_false(device_is_free(root, image, &status, &mounted, &error));
	snprintf(mounts, sizeof(mounts), "3 1 0:50 / /mnt rw - fuseblk %s ro\n", image);
	put_bytes("proc/self/mountinfo", mounts, strlen(mounts));
	assert_true(device_is_free(root, image, &status, &mounted, &error));
	put_bytes("proc/swaps", image, strlen(image));
	assert_false(device_is_free(root, image, &status, &mounted, &error));
	put_bytes("proc/swaps", "", 0);
	put_bytes("proc/self/mountinfo", "", 0);
	assert_true(device_is_free(root, image, &status, &mounted, &error));
}

/*
 * The folder's own file system, shown in the copy as a loop device over the image, then as a
 * partition of the drive sda. Skipped where that file system has no block device (tmpfs).
 */
/* The kernel's partitions have their first sector, in 512 bytes, in the file "start". */
static void test_volume_device(void **state)
{
	struct arena arena = {0};

	(void)state;
	put(ATA "/sda1", "start", "2048\n");
	put(ATA "/sda2", "start", "4096\n");
	put(ATA "/queue", "start", "8192\n"); /* no partition */
	assert_string_equal(
	    drive_volume_device(&arena, root, makedev(8, 0), 2048 * 512, false), "/dev/sda1");
	assert_string_equal(
	    drive_volume_device(&arena, root, makedev(8, 0), 4096 * 512, false), "/dev/sda2");
	assert_null(drive_volume_device(&arena, root, makedev(8, 0), 4096 * 512 + 1, false));
	assert_null(drive_volume_device(&arena, root, makedev(8, 0), 8192 * 512, false));
	assert_null(drive_volume_device(&arena, root, makedev(8, 0), 0, false));
	assert_string_equal(
	    drive_volume_device(&arena, root, makedev(8, 0), 0, true), "/dev/sda");
	assert_string_equal(
	    drive_volume_device(&arena, root, makedev(8, 2), 0, true), "/dev/sda2");
	assert_null(drive_volume_device(&arena, root, makedev(99, 0), 0, true));
	arena_free(&arena);
}

static void test_holds(void **state)
{
	char image[200], other[200], number[60], name[100], path[400];
	struct stat status;

	(void)state;
	assert_int_equal(stat(root, &status), 0);
	if (major(status.st_dev) == 0)
		skip();
	snprintf(image, sizeof(image), "%s/image", root);
	snprintf(other, sizeof(other), "%s/other", root);
	put_bytes("other", "y", 1);
	put_bytes("proc/self/mountinfo", "", 0);
	assert_false(image_holds_folder(root, image, root));
	assert_true(drive_holds_folder(root, status.st_dev, root));
	assert_false(drive_holds_folder(root, makedev(8, 0), root));

	snprintf(number, sizeof(number), "%u:%u\n", major(status.st_dev), minor(status.st_dev));
	add_block(VIRTUAL "loop9", number, "100\n", true);
	put(VIRTUAL "loop9", "loop/backing_file", image);
	assert_true(image_holds_folder(root, image, root));
	assert_false(image_holds_folder(root, other, root));

	snprintf(
	    name, sizeof(name), "sys/dev/block/%u:%u", major(status.st_dev), minor(status.st_dev));
	snprintf(path, sizeof(path), "%s/%s", root, name);
	unlink(path);
	add_block(ATA "/sda3", number, "100\n", false);
	assert_true(drive_holds_folder(root, makedev(8, 0), root));
	assert_true(drive_holds_folder(root, makedev(8, 1), root)); /* its whole drive counts */
	assert_false(drive_holds_folder(root, makedev(8, 16), root));
	assert_false(image_holds_folder(root, image, root));
	unlink(path);

	/* Mounted from the image in user space, without a loop device. */
	snprintf(path, sizeof(path), "3 1 0:50 / %s rw - fuseblk %s rw\n", root, image);
	put_bytes("proc/self/mountinfo", path, strlen(path));
	assert_true(image_holds_folder(root, image, root));
	assert_false(image_holds_folder(root, other, root));
}

static void test_describe_image(void **state)
{
	struct arena arena = {0};
	struct drive drive;
	struct error error;
	char image[200];

	(void)state;
	snprintf(image, sizeof(image), "%s/image", root);
	assert_true(drive_describe(&arena, root, image, &drive, &error));
	assert_true(drive.is_image);
	assert_int_equal(drive.size, 1);
	assert_string_equal(drive.bus, "image file");
	assert_false(drive_describe(&arena, root, "/nowhere/at/all", &drive, &error));
	assert_int_equal(error.status, STATUS_NO_VOLUME);
	arena_free(&arena);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_list),
	    cmocka_unit_test(test_link),
	    cmocka_unit_test(test_no_sysfs),
	    cmocka_unit_test(test_layers),
	    cmocka_unit_test(test_volume_device),
	    cmocka_unit_test(test_in_use),
	    cmocka_unit_test(test_image_in_use),
	    cmocka_unit_test(test_describe_image),
	    cmocka_unit_test(test_holds),
	};

	return cmocka_run_group_tests(tests, make_copy, drop_copy);
}
