/* Licences of old systems: see licence.h. */
#include "system/licence.h"

#include "base/utf.h"
#include "system/inner.h"

#include <string.h>

/* DigitalProductId4: its size, UTF-16 texts of 64 units, the key. Common practice, no source. */
#define ID4_SIZE 1272
#define ID4_KEY 808
#define ID4_CHANNEL 1016 /* "Retail", "OEM:DM", "Volume:GVLK" */
#define ID4_CHANNEL_UNITS 64
/* DigitalProductId of every version. */
#define ID_KEY 52
#define ID_SIZE 164

static const struct {
	const char *name, *sentence;
} kinds[] = {
    [LICENCE_UNKNOWN] = {"unknown",
	"The hive does not tell what kind of licence it is. A label on the PC, the bill, or the "
	"maker's account may."},
    [LICENCE_FIRMWARE] = {"firmware",
	"The licence came with the PC. Its key stands in the PC's firmware and stays there: the "
	"same "
	"edition installed on that PC activates by itself, and no other PC can use it."},
    [LICENCE_PC] = {"pc",
	"The licence came with the PC and belongs to it: it does not move to another one."},
    [LICENCE_RETAIL] = {"retail",
	"The licence was bought apart from the PC, or is a digital licence that belongs to the "
	"PC's "
	"hardware or to its owner's account. Only one that was bought apart may move to another "
	"PC, and the old PC must not use it any more then."},
    [LICENCE_ORGANISATION] = {"organisation",
	"The licence belongs to an organisation (volume licence), not to a person: ask its "
	"administrator."},
    [LICENCE_TRIAL] = {"trial", "The licence is for a trial and ends by itself."},
};

const char *licence_kind_name(enum licence_kind kind)
{
	return kinds[kind].name;
}

const char *licence_kind_sentence(enum licence_kind kind)
{
	return kinds[kind].sentence;
}

/* --- what kind it is --- */

static bool has_word(const char *text, const char *word)
{
	for (; *text; text++)
		if (utf_starts_fold(text, word))
			return true;
	return false;
}

/* "00359-OEM-8992687-00095" of XP to 7, "00325-80000-00000-AAOEM" of later ones. */
static bool is_makers(const char *product_id)
{
	size_t length = strlen(product_id);

	return strstr(product_id, "-OEM-") != NULL ||
	       (length > 5 && strcmp(product_id + length - 3, "OEM") == 0);
}

enum licence_kind licence_kind_of(const char *channel, const char *product_id)
{
	if (has_word(channel, "Eval"))
		return LICENCE_TRIAL;
	if (utf_equal_fold(channel, "OEM:DM"))
		return LICENCE_FIRMWARE;
	if (utf_starts_fold(channel, "OEM"))
		return LICENCE_PC;
	if (utf_starts_fold(channel, "Volume"))
		return LICENCE_ORGANISATION;
	if (utf_starts_fold(channel, "Retail"))
		return LICENCE_RETAIL;
	return is_makers(product_id) ? LICENCE_PC : LICENCE_UNKNOWN;
}

/* The channel as text; "" when there is none. */
static const char *read_channel(struct learn *learn)
{
	struct arena arena = {0};
	struct buf text = {0};
	const uint8_t *data;
	const char *channel = "";
	size_t length, units = 0;

	if (hive_bytes(learn->software, hive_root(learn->software), KEY_NT, "DigitalProductId4",
		&arena, &data, &length) &&
	    length >= ID4_SIZE) {
		while (units < ID4_CHANNEL_UNITS && (data[ID4_CHANNEL + 2 * units] != 0 ||
							data[ID4_CHANNEL + 2 * units + 1] != 0))
			units++;
		utf_from_utf16(&text, data + ID4_CHANNEL, units);
		channel = learn_text(learn, "%s", buf_text(&text));
	}
	buf_free(&text);
	arena_free(&arena);
	return channel;
}

void learn_licence(struct learn *learn)
{
	struct old_system *system = learn->system;
	struct licence *licence = &system->licence;
	const char *product_id;

	licence->channel = "";
	if (!learn->software)
		return;
	licence->channel = read_channel(learn);
	product_id = learn_hive_text(
	    learn, learn->software, hive_root(learn->software), KEY_NT, "ProductId");
	licence->kind = licence_kind_of(licence->channel, product_id ? product_id : "");
	/* A copy of an old system is nobody's main one. */
	if (*system->product && !system->is_copy)
		findings_add(learn->findings, WEIGHT_NOTE, "licence", system->key, "", "%s: %s",
		    system->product, licence_kind_sentence(licence->kind));
}

/* --- the key, when it is asked for --- */

bool licence_key_decode(const uint8_t bytes[LICENCE_KEY_BYTES], char key[LICENCE_KEY_ROOM])
{
	static const char digits[] = "BCDFGHJKMPQRTVWXY2346789";
	uint8_t number[LICENCE_KEY_BYTES], zeros[LICENCE_KEY_BYTES] = {0};
	char plain[26] = {0};
	bool has_letter = (bytes[14] & 8) != 0;
	unsigned first = 0;
	size_t out = 0;

	if (memcmp(bytes, zeros, sizeof(zeros)) == 0)
		return false;
	memcpy(number, bytes, sizeof(number));
	number[14] &= 0xF7;
	for (int digit = 24; digit >= 0; digit--) {
		unsigned rest = 0;

		for (int i = LICENCE_KEY_BYTES - 1; i >= 0; i--) {
			rest = rest * 256 + number[i];
			number[i] = (uint8_t)(rest / 24);
			rest %= 24;
		}
		plain[digit] = digits[rest];
		first = rest;
	}
	/* The first digit is no digit of such a key, but says where the N stands. */
	if (has_letter) {
		memmove(plain, plain + 1, first);
		plain[first] = 'N';
	}
	for (size_t i = 0; i < 25; i++) {
		if (i > 0 && i % 5 == 0)
			key[out++] = '-';
		key[out++] = plain[i];
	}
	key[out] = 0;
	return true;
}

static bool key_from_value(
    const struct hive *hive, const char *name, size_t size, size_t at, char key[LICENCE_KEY_ROOM])
{
	struct arena arena = {0};
	const uint8_t *data;
	size_t length;
	bool found = hive_bytes(hive, hive_root(hive), KEY_NT, name, &arena, &data, &length) &&
		     length >= size && licence_key_decode(data + at, key);

	arena_free(&arena);
	return found;
}

/* A key as text, of the form that keys have. */
static bool key_from_text(const struct hive *hive, char key[LICENCE_KEY_ROOM])
{
	struct arena arena = {0};
	char *text = hive_text(hive, hive_root(hive), KEY_NT "\\SoftwareProtectionPlatform",
	    "BackupProductKeyDefault", &arena, NULL);
	bool found = text && strlen(text) == LICENCE_KEY_ROOM - 1;

	for (size_t i = 0; found && i < LICENCE_KEY_ROOM - 1; i++)
		found = i % 6 == 5 ? text[i] == '-'
				   : (text[i] >= 'A' && text[i] <= 'Z') ||
					 (text[i] >= '0' && text[i] <= '9');
	if (found)
		memcpy(key, text, LICENCE_KEY_ROOM);
	arena_free(&arena);
	return found;
}

static size_t keys_of_hive(const struct hive *hive, struct licence_key keys[LICENCE_KEYS])
{
	size_t count = 0;

	if (key_from_value(hive, "DigitalProductId4", ID4_SIZE, ID4_KEY, keys[0].key) ||
	    key_from_value(hive, "DigitalProductId", ID_SIZE, ID_KEY, keys[0].key))
		keys[count++].from = "the installed key";
	if (key_from_text(hive, keys[count].key) &&
	    (count == 0 || strcmp(keys[0].key, keys[1].key) != 0))
		keys[count++].from = "the key that the old system kept as a backup";
	return count;
}

size_t licence_keys_read(const struct survey *survey, const struct old_system *system,
    struct licence_key keys[LICENCE_KEYS])
{
	struct survey view = *survey;
	struct old_system about = *system;
	/* Silent: what is wrong with the hive was said when it was surveyed. */
	struct learn learn = {.survey = &view, .system = &about};
	struct hive *hive;
	size_t count = 0;

	if (!survey_catalogue(survey, system->volume))
		return 0;
	hive = load_machine_hive(&learn, "SOFTWARE", "");
	if (hive)
		count = keys_of_hive(hive, keys);
	hive_close(hive);
	return count;
}
