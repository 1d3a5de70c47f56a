/*
 * Printers, the ports they hang on, whose default they are; scanners and cameras.
 *
 * Sources: [MS-RPRN] 2.2.3.12 (PRINTER_ATTRIBUTE_SHARED) and 2.2.4.10 (port names); Microsoft,
 * "System-Defined Device Setup Classes" (the classes' GUIDs, names of values in a software key:
 * DriverDesc, ProviderName, InfPath). The keys below Control\Print and Printers\Connections, and
 * the text in the value Device: common practice, no source.
 */
#include "system/learn_devices.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ATTRIBUTE_SHARED 0x8u /* PRINTER_ATTRIBUTE_SHARED */
#define KEY_PRINT "Control\\Print\\"

/* --- ports --- */

enum connection {
	CONNECTION_OTHER,
	CONNECTION_ADDRESS,
	CONNECTION_SEARCHED, /* found by searching the network: no address is noted */
	CONNECTION_USB,
	CONNECTION_CABLE, /* parallel or serial */
	CONNECTION_SHARE,
	CONNECTION_PROGRAM, /* no device at all */
};

/* "LPT1:" and "COM2:" are sockets of the PC. */
static bool is_cable(const char *port)
{
	return (utf_starts_fold(port, "LPT") || utf_starts_fold(port, "COM")) && port[3] >= '0' &&
	       port[3] <= '9';
}

/* By the form of the port's name: what ends in a colon and is no socket is made by a program. */
static enum connection connection_of(const char *port, bool has_address)
{
	if (has_address)
		return CONNECTION_ADDRESS;
	if (path_is_share(port))
		return CONNECTION_SHARE;
	if (utf_starts_fold(port, "WSD-"))
		return CONNECTION_SEARCHED;
	if (utf_starts_fold(port, "USB") || utf_starts_fold(port, "DOT4"))
		return CONNECTION_USB;
	if (is_cable(port))
		return CONNECTION_CABLE;
	return name_ends_in(port, ":") ? CONNECTION_PROGRAM : CONNECTION_OTHER;
}

static const char *connection_name(enum connection connection)
{
	static const char *const names[] = {[CONNECTION_OTHER] = "other",
	    [CONNECTION_ADDRESS] = "network-address",
	    [CONNECTION_SEARCHED] = "network-searched",
	    [CONNECTION_USB] = "usb",
	    [CONNECTION_CABLE] = "cable",
	    [CONNECTION_SHARE] = "share",
	    [CONNECTION_PROGRAM] = "program"};

	return names[connection];
}

/* The host name or address that a port monitor keeps for a port, in `arena`; NULL: none. */
static char *port_address(struct learn *learn, const char *port, struct arena *arena)
{
	static const char *const values[] = {"HostName", "IPAddress", "Printer Address"};
	hive_cell *monitors;
	size_t n_monitors;

	if (!*port || strchr(port, '\\'))
		return NULL;
	n_monitors =
	    keys_below(learn->config, learn->control, KEY_PRINT "Monitors", arena, &monitors);
	for (size_t i = 0; i < n_monitors; i++) {
		char *path = arena_printf(arena, "Ports\\%s", port);
		hive_cell key = path ? hive_find(learn->config, monitors[i], path) : HIVE_NO_CELL;

		for (size_t v = 0; key != HIVE_NO_CELL && v < sizeof(values) / sizeof(values[0]);
		     v++) {
			char *text = hive_text(learn->config, key, "", values[v], arena, NULL);

			if (text && *text && strcmp(text, "0.0.0.0") != 0)
				return text;
		}
	}
	return NULL;
}

/* --- drivers --- */

/* What the old system says of a driver by its name; HIVE_NO_CELL when it does not know it. */
static hive_cell driver_record(struct learn *learn, const char *driver, struct arena *arena)
{
	hive_cell *environments, *versions;
	size_t n_environments, n_versions;

	if (!*driver || strchr(driver, '\\'))
		return HIVE_NO_CELL;
	n_environments = keys_below(
	    learn->config, learn->control, KEY_PRINT "Environments", arena, &environments);
	for (size_t e = 0; e < n_environments && e < 16; e++) {
		n_versions =
		    keys_below(learn->config, environments[e], "Drivers", arena, &versions);
		for (size_t v = 0; v < n_versions && v < 16; v++) {
			hive_cell found = hive_find(learn->config, versions[v], driver);

			if (found != HIVE_NO_CELL)
				return found;
		}
	}
	return HIVE_NO_CELL;
}

/* Set-up files of others are copied as oem3.inf. */
static bool is_from_others(const char *setup)
{
	const char *name = setup ? strrchr(setup, '\\') : NULL;

	return setup && utf_starts_fold(name ? name + 1 : setup, "oem");
}

/* --- printers --- */

static const char *printer_advice(
    struct learn *learn, const struct thing *thing, enum connection connection)
{
	const char *address = thing_detail(thing, "address");
	const char *driver = thing_detail(thing, "driver");

	switch (connection) {
	case CONNECTION_ADDRESS:
		return learn_text(learn,
		    "On the new machine, add a network printer by its address, %s; if nothing "
		    "answers there, the "
		    "printer's own menu shows the address that it has now.",
		    address ? address : "");
	case CONNECTION_SEARCHED:
		return "Switch this printer on and let the new machine search the network for "
		       "printers.";
	case CONNECTION_USB:
		return learn_text(learn,
		    "Plug this printer in on the new machine; if it is not recognised, get the "
		    "driver \"%s\" from its "
		    "maker.",
		    driver ? driver : thing->name);
	case CONNECTION_CABLE:
		return "This printer hung on a parallel or serial cable: see whether the new "
		       "machine has such a "
		       "socket, or get an adapter.";
	case CONNECTION_SHARE:
		return "This printer hangs on another computer: connect to it there again from the "
		       "new machine.";
	case CONNECTION_PROGRAM:
		return "This is no device but belongs to a program: it comes back when that "
		       "program is installed "
		       "again.";
	case CONNECTION_OTHER:
		break;
	}
	return thing->advice;
}

static void tell_address(struct learn *learn, const struct thing *thing)
{
	const char *address = thing_detail(thing, "address");

	if (address)
		findings_add(&learn->later, WEIGHT_NOTE, "printer-address", learn->system->key,
		    "Have the address at hand when the printer is added on the new machine.",
		    "The printer %s is reached over the network under %s.", thing->name, address);
}

static void add_driver(struct learn *learn, struct thing *thing, struct arena *arena, bool *others)
{
	const char *driver = thing_detail(thing, "driver");
	hive_cell record = driver ? driver_record(learn, driver, arena) : HIVE_NO_CELL;
	char *provider, *setup;

	*others = true;
	if (record == HIVE_NO_CELL)
		return;
	provider = hive_text(learn->config, record, "", "Provider", arena, NULL);
	if (!provider || !*provider)
		provider = hive_text(learn->config, record, "", "Manufacturer", arena, NULL);
	setup = hive_text(learn->config, record, "", "InfPath", arena, NULL);
	thing_add(learn, thing, "driver_provider", provider);
	thing_add(learn, thing, "driver_setup_file", setup);
	*others = is_from_others(setup) || !provider || !utf_equal_fold(provider, "Microsoft");
}

static void add_printer(struct learn *learn, const struct hive *hive, hive_cell key)
{
	struct arena arena = {0};
	char *name = hive_key_name(hive, key, &arena);
	char *port = hive_text(hive, key, "", "Port", &arena, NULL);
	char *address = port ? port_address(learn, port, &arena) : NULL;
	enum connection connection = connection_of(port ? port : "", address != NULL);
	uint64_t attributes = 0;
	struct thing *thing = NULL;
	bool others;

	if (name && !learned_thing(learn, THING_PRINTER, SIZE_MAX, name))
		thing = learn_thing(learn, THING_PRINTER, SIZE_MAX, name);
	if (thing) {
		thing_add(learn, thing, "connection", connection_name(connection));
		thing_add(learn, thing, "address", address);
		thing_add(learn, thing, "port", port);
		thing_add_text(learn, thing, "driver", hive, key, "Printer Driver");
		thing_add_text(learn, thing, "location", hive, key, "Location");
		thing_add_text(learn, thing, "remark", hive, key, "Description");
		if (hive_number(hive, key, "", "Attributes", &attributes) &&
		    attributes & ATTRIBUTE_SHARED)
			thing_add_text(learn, thing, "shared_as", hive, key, "Share Name");
		add_driver(learn, thing, &arena, &others);
		thing->comes_with_windows = connection == CONNECTION_PROGRAM && !others;
		thing->advice = thing->comes_with_windows
				    ? "Nothing to do: every new machine brings it along."
				    : printer_advice(learn, thing, connection);
		tell_address(learn, thing);
	}
	arena_free(&arena);
}

/* --- scanners and cameras --- */

static void add_scanner(struct learn *learn, hive_cell key)
{
	struct arena arena = {0};
	const struct hive *hive = learn->config;
	char *name = hive_text(hive, key, "", "FriendlyName", &arena, NULL);
	char *setup = hive_text(hive, key, "", "InfPath", &arena, NULL);
	struct thing *thing = NULL;

	if (!name || !*name)
		name = hive_text(hive, key, "", "DriverDesc", &arena, NULL);
	if (name && !learned_thing(learn, THING_SCANNER, SIZE_MAX, name))
		thing = learn_thing(learn, THING_SCANNER, SIZE_MAX, name);
	thing_add_text(learn, thing, "driver", hive, key, "DriverDesc");
	thing_add_text(learn, thing, "driver_provider", hive, key, "ProviderName");
	thing_add_text(learn, thing, "driver_version", hive, key, "DriverVersion");
	thing_add(learn, thing, "driver_setup_file", setup);
	if (thing && setup && !is_from_others(setup))
		thing->advice = "Plug it in on the new machine: its driver comes with the system.";
	arena_free(&arena);
}

static void learn_scanners(struct learn *learn)
{
	/* Imaging devices; cameras have a class of their own since Windows 10. */
	static const char *const classes[] = {
	    "Control\\Class\\{6bdd1fc6-810f-11d0-bec7-08002be2092f}",
	    "Control\\Class\\{ca3e7ab9-b4c3-4ae6-8251-579ef933890f}"};

	for (size_t i = 0; i < sizeof(classes) / sizeof(classes[0]); i++) {
		struct arena arena = {0};
		hive_cell *keys;
		size_t count = keys_below(learn->config, learn->control, classes[i], &arena, &keys);

		for (size_t k = 0; k < count; k++) {
			char *name = hive_key_name(learn->config, keys[k], &arena);

			/* One key for each device: "0000". */
			if (name && strlen(name) == 4 && strspn(name, "0123456789") == 4)
				add_scanner(learn, keys[k]);
		}
		arena_free(&arena);
	}
}

void learn_printers(struct learn *learn)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count =
	    keys_below(learn->config, learn->control, KEY_PRINT "Printers", &arena, &keys);

	for (size_t i = 0; i < count; i++)
		add_printer(learn, learn->config, keys[i]);
	/* Newer systems keep them here, and only a link at the old place. */
	if (learn->software) {
		count = keys_below(learn->software, hive_root(learn->software),
		    KEY_NT "\\Print\\Printers", &arena, &keys);
		for (size_t i = 0; i < count; i++)
			add_printer(learn, learn->software, keys[i]);
	}
	arena_free(&arena);
	learn_scanners(learn);
}

/* --- of one person --- */

/* "Meadow Printer 20,winspool,Ne01:": no printer's name has a comma. */
static void add_default(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	char *device = hive_text(
	    hive, hive_root(hive), "Software\\" KEY_NT "\\Windows", "Device", &arena, NULL);

	if (device) {
		device[strcspn(device, ",")] = '\0';
		learn_thing(learn, THING_DEFAULT_PRINTER, person, device);
	}
	arena_free(&arena);
}

void learn_person_printers(struct learn *learn, const struct hive *hive, size_t person)
{
	struct arena arena = {0};
	hive_cell *keys;
	size_t count = keys_below(hive, hive_root(hive), "Printers\\Connections", &arena, &keys);

	add_default(learn, hive, person);
	for (size_t i = 0; i < count; i++) {
		char *name = hive_key_name(hive, keys[i], &arena);
		struct thing *thing;

		/* ",,server,printer" */
		for (char *at = name; at && *at; at++)
			if (*at == ',')
				*at = '\\';
		thing = name ? learn_thing(learn, THING_PRINTER, person, name) : NULL;
		if (thing) {
			thing_add(learn, thing, "connection", connection_name(CONNECTION_SHARE));
			thing->advice = printer_advice(learn, thing, CONNECTION_SHARE);
		}
	}
	arena_free(&arena);
}
