/*
 * Storage controllers in a folder that stands for the computer.
 *
 * Class codes: PCI Code and ID Assignment Specification, section 1.2; files of a PCI device: Linux
 * kernel documentation, Documentation/ABI/testing/sysfs-bus-pci; remapped_nvme: the kernel's driver
 * ahci. Vendor 8086 is Intel (PCI-SIG's list of vendors).
 */
#include "unit.h"

#include "disk/controllers.h"
#include "fake_sysfs.h"

#include <stdio.h>
#include <string.h>

/* A PCI device; `driver` "" for none. */
static void add(const struct fake_sysfs *fake, const char *address, const char *class,
    const char *ids, const char *driver)
{
	char name[200], target[200];
	const char *colon = strchr(ids, ':');

	snprintf(name, sizeof(name), "sys/bus/pci/devices/%s/class", address);
	fake_put(fake, name, class);
	snprintf(name, sizeof(name), "sys/bus/pci/devices/%s/vendor", address);
	snprintf(target, sizeof(target), "0x%.4s\n", ids);
	fake_put(fake, name, target);
	snprintf(name, sizeof(name), "sys/bus/pci/devices/%s/device", address);
	snprintf(target, sizeof(target), "0x%s\n", colon + 1);
	fake_put(fake, name, target);
	if (driver[0] == '\0')
		return;
	snprintf(name, sizeof(name), "sys/bus/pci/devices/%s/driver", address);
	snprintf(target, sizeof(target), "../../../bus/pci/drivers/%s", driver);
	fake_link(fake, name, target);
}

static void look(const struct fake_sysfs *fake, struct findings *findings)
{
	findings_init(findings);
	controllers_look(fake->root, findings);
}

static void test_all_well(void **state)
{
	struct fake_sysfs fake = fake_sysfs_make();
	struct findings findings;

	(void)state;
	/* No PCI at all. */
	look(&fake, &findings);
	assert_int_equal(findings.count, 0);
	findings_free(&findings);
	add(&fake, "0000:00:17.0", "0x010601\n", "8086:a102", "ahci");
	add(&fake, "0000:00:1f.1", "0x01018a\n", "8086:7010", "ata_piix");
	add(&fake, "0000:01:00.0", "0x010802\n", "144d:a808", "nvme");
	/* Volume management device: its drives are seen through its driver. */
	add(&fake, "0000:00:0e.0", "0x010400\n", "8086:9a0b", "vmd");
	/* Nobody's drives: network, USB, floppy. */
	add(&fake, "0000:02:00.0", "0x020000\n", "10ec:8168", "");
	add(&fake, "0000:00:14.0", "0x0c0330\n", "8086:a12f", "");
	add(&fake, "0000:03:00.0", "0x010200\n", "1234:0001", "");
	fake_put(&fake, "sys/bus/pci/devices/0000:00:17.0/remapped_nvme", "0\n");
	look(&fake, &findings);
	assert_int_equal(findings.count, 0);
	findings_free(&findings);
	fake_sysfs_drop(&fake);
}

static void test_no_driver(void **state)
{
	static const struct {
		const char *address, *class, *ids, *words;
	} cases[] = {
	    {"0000:00:01.0", "0x010000\n", "9005:0080", "a SCSI controller (9005:0080)"},
	    {"0000:00:02.0", "0x010185\n", "1106:0571", "an IDE controller (1106:0571)"},
	    {"0000:00:03.0", "0x010400\n", "8086:2822", "a RAID controller (8086:2822)"},
	    {"0000:00:04.0", "0x010520\n", "105a:3373", "an ATA controller (105a:3373)"},
	    {"0000:00:05.0", "0x010601\n", "197b:2363", "a SATA controller (197b:2363)"},
	    {"0000:00:06.0", "0x010700\n", "1000:0072", "a SAS controller (1000:0072)"},
	    {"0000:00:07.0", "0x010802\n", "144d:a808", "an NVMe drive (144d:a808)"},
	    {"0000:00:08.0", "0x010900\n", "8086:54ff", "a UFS controller (8086:54ff)"},
	    {"0000:00:09.0", "0x018000\n", "1095:3112", "a storage controller (1095:3112)"},
	    {"0000:00:0a.0", "0x080501\n", "1180:e822", "an SD card reader (1180:e822)"},
	};
	const size_t n = sizeof(cases) / sizeof(cases[0]);
	struct fake_sysfs fake = fake_sysfs_make();
	struct findings findings;

	(void)state;
	for (size_t i = 0; i < n; i++)
		add(&fake, cases[i].address, cases[i].class, cases[i].ids, "");
	look(&fake, &findings);
	assert_int_equal(findings.count, n);
	for (size_t i = 0; i < n; i++) {
		assert_string_equal(findings.items[i].code, "controller-no-driver");
		assert_string_equal(findings.items[i].subject, cases[i].address);
		assert_non_null(strstr(findings.items[i].sentence, cases[i].words));
		/* No advice on the storage mode without its warnings. */
		if (strstr(findings.items[i].advice, "storage mode") != NULL)
			assert_non_null(strstr(findings.items[i].advice, "recovery key"));
	}
	findings_free(&findings);
	fake_sysfs_drop(&fake);
}

static void test_raid_mode(void **state)
{
	struct fake_sysfs fake = fake_sysfs_make();
	struct findings findings;

	(void)state;
	add(&fake, "0000:00:17.0", "0x010400\n", "8086:2822", "ahci");
	look(&fake, &findings);
	assert_int_equal(findings.count, 1);
	assert_string_equal(findings.items[0].code, "controller-raid-mode");
	assert_int_equal(findings.items[0].weight, WEIGHT_NOTE);
	findings_free(&findings);
	fake_put(&fake, "sys/bus/pci/devices/0000:00:17.0/remapped_nvme", "2\n");
	look(&fake, &findings);
	assert_int_equal(findings.count, 1);
	assert_string_equal(findings.items[0].code, "controller-hides-nvme");
	assert_int_equal(findings.items[0].weight, WEIGHT_LOSS);
	assert_non_null(strstr(findings.items[0].sentence, "hides 2 NVMe drives,"));
	assert_non_null(strstr(findings.items[0].advice, "recovery key"));
	assert_non_null(strstr(findings.items[0].advice, "may not start"));
	assert_non_null(strstr(findings.items[0].advice, "set"));
	findings_free(&findings);
	/* Numbers that are none. */
	fake_put(&fake, "sys/bus/pci/devices/0000:00:17.0/remapped_nvme", "x\n");
	fake_put(&fake, "sys/bus/pci/devices/0000:00:17.0/class", "\n");
	look(&fake, &findings);
	assert_int_equal(findings.count, 0);
	findings_free(&findings);
	fake_sysfs_drop(&fake);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
	    cmocka_unit_test(test_all_well),
	    cmocka_unit_test(test_no_driver),
	    cmocka_unit_test(test_raid_mode),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
