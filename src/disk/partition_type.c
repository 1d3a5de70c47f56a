/*
 * What partition types mean.
 *
 * Sources: UEFI Specification 2.10, table 5-7 (EFI system); Microsoft's documentation of
 * PARTITION_INFORMATION_GPT (basic data, reserved, recovery, LDM, storage spaces) and "Disk
 * partition types" (MBR types); the Linux types are those of the Discoverable Partitions
 * Specification.
 */
#include "disk/partition.h"

struct gpt_type {
	const char *id;
	const char *name;
	bool is_system;
};

static const struct gpt_type gpt_types[] = {
    {"C12A7328-F81F-11D2-BA4B-00A0C93EC93B", "EFI system", true},
    {"E3C9E316-0B5C-4DB8-817D-F92DF00215AE", "reserved", true},
    {"DE94BBA4-06D1-4D40-A16A-BFD50179D6AC", "recovery", true},
    {"EBD0A0A2-B9E5-4433-87C0-68B6B72699C7", "data", false},
    {"5808C8AA-7E8F-42E0-85D2-E1E90434CFB3", "dynamic disk table", true},
    {"AF9B60A0-1431-4F62-BC68-3311714A69AD", "dynamic disk data", false},
    {"E75CAF8F-F680-4CEE-AFA3-B001E56EFC2D", "storage space", false},
    {"0FC63DAF-8483-4772-8E79-3D69D8477DE4", "Linux", false},
    {"0657FD6D-A4AB-43C4-84E5-0933C84B4F4F", "Linux swap", true},
    {"21686148-6449-6E6F-744E-656564454649", "BIOS boot", true},
};

struct mbr_type {
	uint8_t type;
	const char *name;
	bool is_system;
};

static const struct mbr_type mbr_types[] = {
    {0x01, "FAT", false},
    {0x04, "FAT", false},
    {0x06, "FAT", false},
    {0x07, "NTFS or exFAT", false},
    {0x0B, "FAT", false},
    {0x0C, "FAT", false},
    {0x0E, "FAT", false},
    {0x11, "hidden FAT", false},
    {0x12, "maker's tools", true}, /* common practice, no source */
    {0x14, "hidden FAT", false},
    {0x16, "hidden FAT", false},
    {0x17, "hidden NTFS", false},
    {0x1B, "hidden FAT", false},
    {0x1C, "hidden FAT", false},
    {0x1E, "hidden FAT", false},
    {0x27, "recovery", true},
    {0x42, "dynamic disk data", false},
    {0x82, "Linux swap", true},
    {0x83, "Linux", false},
    {0xDE, "maker's tools", true}, /* common practice, no source */
    {0xEE, "protective", true},
    {0xEF, "EFI system", true},
};

static const struct gpt_type *find_gpt(const struct guid *guid)
{
	struct guid type;

	for (size_t i = 0; i < sizeof(gpt_types) / sizeof(gpt_types[0]); i++)
		if (guid_from_text(gpt_types[i].id, &type) && guid_equal(&type, guid))
			return &gpt_types[i];
	return NULL;
}

static const struct mbr_type *find_mbr(uint8_t type)
{
	for (size_t i = 0; i < sizeof(mbr_types) / sizeof(mbr_types[0]); i++)
		if (mbr_types[i].type == type)
			return &mbr_types[i];
	return NULL;
}

const char *table_kind_name(enum table_kind kind)
{
	static const char *const names[] = {"none", "MBR", "GPT", "lost"};

	return names[kind];
}

const char *partition_type_name(const struct table *table, const struct partition *partition)
{
	if (table->kind == TABLE_GPT) {
		const struct gpt_type *type = find_gpt(&partition->type);

		return type != NULL ? type->name : NULL;
	}
	if (table->kind == TABLE_MBR) {
		const struct mbr_type *type = find_mbr(partition->mbr_type);

		return type != NULL ? type->name : NULL;
	}
	return NULL;
}

bool partition_is_system(const struct table *table, const struct partition *partition)
{
	if (table->kind == TABLE_GPT) {
		const struct gpt_type *type = find_gpt(&partition->type);

		return type != NULL && type->is_system;
	}
	if (table->kind == TABLE_MBR) {
		const struct mbr_type *type = find_mbr(partition->mbr_type);

		return type != NULL && type->is_system;
	}
	return false;
}
