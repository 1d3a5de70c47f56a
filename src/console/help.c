/*
 * The page of help: when a PC refuses the stick, or a drive is missing; see start_screen.h.
 *
 * It says the same as image/first-time.md, which a person has read or not: whoever changes one
 * changes the other.
 */
#include "console/start_screen.h"

struct entry {
	const char *sign;  /* what one sees */
	const char *words; /* what it means, and what to do */
};

static const struct entry refusals[] = {
    {"\"Security violation\", \"Secure Boot violation\", or the stick is skipped",
	"The firmware accepts no third-party boot programs (often called third-party UEFI CA). "
	"That "
	"one entry can be switched on, but read the next paragraph first; or take the drive out "
	"and "
	"use a USB adapter."},
    {"A drive is locked and asks for a recovery key",
	"Its encryption noticed a change in the firmware's settings. Have the owner's key (48 "
	"digits, "
	"often in their online account or on paper) before anything there is changed. No key: "
	"change "
	"nothing."},
    {"\"SBAT\", or a signature that is revoked or unknown",
	"The firmware has newer signing keys or rules than this stick. Write a newer stick; never "
	"clear "
	"the firmware's keys."},
    {"No USB entry in the boot menu", "Switch the PC fully off (hold the power button for ten "
				      "seconds), try another port (USB 2), "
				      "then the firmware's own boot settings."},
    {"A black screen or a stop after coldlift's menu",
	"Start again and take the second entry (all messages, cautious)."},
    {"A small tablet or laptop with 32-bit UEFI",
	"It starts only with Secure Boot switched off: have the recovery key first, as above."},
    {"\"This kernel requires an x86-64 CPU\", or nothing at all on ARM",
	"32-bit-only PCs and ARM PCs cannot start from this stick: take the drive out and use a "
	"USB "
	"adapter on another PC."},
};

static const struct entry missing[] = {
    {"The PC has a RAID mode (RAID, RST, VMD, Optane)",
	"The drive may hang on a controller that Linux cannot reach. Leave the storage mode as it "
	"is: "
	"switching it can leave the old system unable to start, break up a mirrored or striped "
	"set, and "
	"make a locked drive ask for its recovery key. Note the PC's model and the mode, and "
	"connect "
	"the drive by a USB adapter, all drives of a set together. Only the owner may decide to "
	"switch "
	"the mode, with the recovery key at hand and the old setting written down."},
    {"A drive with a password, or an encrypting enclosure",
	"It shows up without volumes, or says that it is locked. It is not broken: its owner's "
	"password "
	"is needed. Connect an enclosure as a whole, not the drive out of it."},
    {"A drive in a USB adapter",
	"A 3.5-inch drive needs an adapter with its own power supply. Try another cable and "
	"another "
	"port, best at the PC itself and not at a hub. Then press l to look again."},
    {"A drive that clicks, grinds, smells or keeps dropping out",
	"Switch it off now. It belongs to a recovery laboratory; every further try makes it "
	"worse."},
    {"A drive inside the PC that does not show up at all",
	"Switch off, unplug the mains, and check its cables. If the firmware's own settings do not "
	"show it either, it is broken or not connected."},
};

static void print(const struct page *page, const struct entry *entries, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		page_line(page, 0, 2, "%s", entries[i].sign);
		page_line(page, 4, 4, "%s", entries[i].words);
	}
}

void start_help(const struct page *page)
{
	fputc('\n', page->out);
	page_line(page, 0, 0, "When a drive is missing");
	print(page, missing, sizeof(missing) / sizeof(missing[0]));
	fputc('\n', page->out);
	page_line(page, 0, 0, "When a PC refuses the stick");
	print(page, refusals, sizeof(refusals) / sizeof(refusals[0]));
	fputc('\n', page->out);
}
