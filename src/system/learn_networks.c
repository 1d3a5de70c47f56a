/*
 * Mapped drives, shared folders, paired devices, networks that the old system was connected to.
 *
 * Sources: IANA, "ifType" numbers (what NameType of a network is); [MS-DTYP] 2.3.13 (SYSTEMTIME).
 * The keys Network, BTHPORT, LanmanServer\Shares and NetworkList\Profiles: common practice, no
 * source.
 */
#include "system/learn_devices.h"

#include "base/bytes.h"

#include <stdio.h>
#include <string.h>

/* --- mapped drives --- */

static void add_mapped(struct learn *learn, const struct hive *hive, hive_cell key, size_t person)
{
	struct arena arena = {0};
	char *letter = hive_key_name(hive, key, &arena);
	char *remote = hive_text(hive, key, "", "RemotePath", &arena, NULL);
	char *user = hive_text(hive, key, "", "UserName", &arena, NULL);
	struct thing *thing = NULL;

	if (letter && strlen(letter) == 1)
		thing = learn_thing(
		    learn, THING_MAPPED_DRIVE, person, arena_printf(&arena, "%s:", letter));
	else if (letter)
		thing = learn_thing(learn, THING_MAPPED_DRIVE, person, letter);
	thing_add(learn, thing, "remote_path", remote);
	thing_add(learn, thing, "user_name", user);
	thing_add_text(learn, thing, "provider", hive, key, "ProviderName");
	if (thing && remote && user && *user) {
		thing->advice = learn_text(learn,
		    "Give %s the letter %s again on the new machine, signing in there as %s; its "
		    "password is needed.",
		    remote, thing->name, user);
		findings_add(&learn->later, WEIGHT_CAUTION, "mapped-drive-own-user",
		    learn->system->persons[person].key,
		    "Make sure that its password is known before the old PC is given away.",
		    "The network folder %s (%s) is opened with a user name of its own, %s.", remote,
		    thing->name, user);
	} else if (thing && remote) {
		thing->advice = learn_text(learn,
		    "Give %s the letter %s again on the new machine, if that server will still be "
		    "there.",
		    remote, thing->name);
	}
	arena_free(&arena);
}

void learn_mapped_drives(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = keys_below(hive, hive_root(hive), "Network", &arena, &keys);

	for (size_t i = 0; i < count; i++)
		add_mapped(learn, hive, keys[i], person);
	arena_free(&arena);
}

/* --- paired devices --- */

/* The name is a text in UTF-8 that is kept as bytes; the key is the device's address. */
static void add_paired(struct learn *learn, hive_cell key, struct arena *arena)
{
	char *address = hive_key_name(learn->config, key, arena);
	const uint8_t *data;
	size_t length;
	struct buf name = {0};

	if (!address || strlen(address) != 12 || strspn(address, "0123456789abcdefABCDEF") != 12 ||
	    !hive_bytes(learn->config, key, "", "Name", arena, &data, &length) ||
	    length > TEXT_LIMIT)
		return;
	utf_clean(&name, (const char *)data, strnlen((const char *)data, length));
	if (!name.failed)
		thing_add(learn, learn_thing(learn, THING_PAIRED, SIZE_MAX, buf_text(&name)),
		    "address", address);
	buf_free(&name);
}

void learn_paired(struct learn *learn)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = keys_below(
	    learn->config, learn->control, "Services\\BTHPORT\\Parameters\\Devices", &arena, &keys);

	for (size_t i = 0; i < count; i++)
		add_paired(learn, keys[i], &arena);
	arena_free(&arena);
}

/* --- shared folders --- */

/* Each is a list of "Path=C:\Papers", "Remark=", "Type=0". */
static void add_share(struct learn *learn, hive_cell key, const char *name, struct arena *arena)
{
	static const char *const kinds[] = {"folder", "printer", "device", "communication"};
	char **texts;
	size_t count = hive_texts(learn->config, key, "", name, arena, &texts);
	struct thing *thing;
	const char *kind = "folder";

	if (count == 0 || !(thing = learn_thing(learn, THING_SHARE, SIZE_MAX, name)))
		return;
	for (size_t i = 0; i < count && i < 64; i++) {
		if (utf_starts_fold(texts[i], "Path="))
			thing_add(learn, thing, "path", texts[i] + strlen("Path="));
		else if (utf_starts_fold(texts[i], "Remark="))
			thing_add(learn, thing, "remark", texts[i] + strlen("Remark="));
		else if (utf_starts_fold(texts[i], "Type=") && texts[i][5] > '0' &&
			 texts[i][5] <= '3' && !texts[i][6])
			kind = kinds[texts[i][5] - '0'];
	}
	thing_add(learn, thing, "what", kind);
	if (strcmp(kind, "printer") == 0)
		thing->advice =
		    "Other computers may print through this PC: share the printer again on the new "
		    "machine, or add it on them directly.";
}

void learn_shares(struct learn *learn)
{
	struct arena arena = {0}, one = {0};
	hive_cell key, *values;
	size_t count;

	if (!learn->config || learn->control == HIVE_NO_CELL)
		return;
	key = hive_find(learn->config, learn->control, "Services\\LanmanServer\\Shares");
	count = key == HIVE_NO_CELL ? 0 : hive_values(learn->config, key, &arena, &values);
	for (size_t i = 0; i < count && i < KEYS_LIMIT; i++) {
		char *name = hive_value_name(learn->config, values[i], &one);

		if (name && *name)
			add_share(learn, key, name, &one);
		arena_free(&one);
	}
	arena_free(&arena);
}

/* --- networks --- */

static const char *network_kind(uint64_t number)
{
	switch (number) {
	case 6:
		return "wired";
	case 23:
	case 53:
	case 131:
		return "tunnel";
	case 71:
		return "wireless";
	case 243:
	case 244:
		return "mobile";
	default:
		return NULL;
	}
}

/* A SYSTEMTIME as "2023-11-04"; NULL when it cannot be one. */
static char *day_of(const uint8_t *time, size_t length, struct arena *arena)
{
	unsigned year, month, day;

	if (length < 16)
		return NULL;
	year = get_u16(time);
	month = get_u16(time + 2);
	day = get_u16(time + 6);
	if (year < 1980 || year > 9999 || month < 1 || month > 12 || day < 1 || day > 31)
		return NULL;
	return arena_printf(arena, "%04u-%02u-%02u", year, month, day);
}

static const char *network_advice(const char *kind)
{
	if (kind && strcmp(kind, "wireless") == 0)
		return "Choose this wireless network on the new machine and type in its key.";
	if (kind && strcmp(kind, "tunnel") == 0)
		return "Set this connection up again on the new machine; whoever runs it knows the "
		       "address and the "
		       "way to sign in.";
	if (kind && strcmp(kind, "wired") == 0)
		return "Nothing to do but plug in the cable.";
	return NULL;
}

static void add_network(struct learn *learn, hive_cell key)
{
	static const char *const categories[] = {"public", "private", "domain"};
	struct arena arena = {0};
	const struct hive *hive = learn->software;
	char *name = hive_text(hive, key, "", "ProfileName", &arena, NULL);
	const char *kind = NULL, *advice;
	uint64_t number;
	const uint8_t *time;
	size_t length;
	struct thing *thing = name ? learn_thing(learn, THING_NETWORK, SIZE_MAX, name) : NULL;

	if (hive_number(hive, key, "", "NameType", &number))
		kind = network_kind(number);
	thing_add(learn, thing, "network", kind);
	if (hive_number(hive, key, "", "Category", &number) && number < 3)
		thing_add(learn, thing, "category", categories[number]);
	if (hive_bytes(hive, key, "", "DateLastConnected", &arena, &time, &length))
		thing_add(learn, thing, "last_connected", day_of(time, length, &arena));
	advice = network_advice(kind);
	if (thing && advice)
		thing->advice = advice;
	arena_free(&arena);
}

void learn_networks(struct learn *learn)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = 0;

	if (learn->software)
		count = keys_below(learn->software, hive_root(learn->software),
		    KEY_NT "\\NetworkList\\Profiles", &arena, &keys);
	for (size_t i = 0; i < count; i++)
		add_network(learn, keys[i]);
	arena_free(&arena);
}
