/* Bookmarks of every browser profile: see bookmarks.h. */
#include "extract/bookmarks.h"

#include "base/text.h"
#include "base/utf.h"
#include "extract/bookmark_files.h"
#include "extract/bookmarks_html.h"
#include "extract/items.h"
#include "plan/names.h"

#include <stdlib.h>
#include <string.h>

#define FOLDER BOOKMARKS_FOLDER "/"
/* No PC has as many; every file is read whole, and told apart from the others. */
#define PROFILE_LIMIT 300
#define BYTES_LIMIT (UINT64_C(4) << 30)
#define NAME_ROOM 100 /* bytes of a file's name without number and ending */

struct work {
	const struct plan *plan;
	const struct job *job;
	struct papers *papers;
	struct findings *findings;
	struct error *error;
	const struct item **read; /* files whose bookmarks were written */
	size_t n_read, capacity;
	size_t n_tried;
	uint64_t bytes_tried;
	bool has_browser; /* something that is more than a folder of favourites */
};

static const char *owner_of(const struct plan *plan, const struct item *item)
{
	const struct group *group = &plan->groups[item->group];

	return group->person == SIZE_MAX
		   ? group->key
		   : plan->survey->systems[group->system].persons[group->person].key;
}

/* Cuts at the start of a character. */
static void cut(struct buf *name, size_t length)
{
	if (name->length <= length)
		return;
	while (length > 0 && (name->data[length] & 0xC0) == 0x80)
		length--;
	name->length = length;
	name->data[length] = 0;
}

static bool is_taken(const struct papers *papers, const char *name)
{
	for (size_t i = 0; i < papers->count; i++)
		if (utf_equal_fold(papers->items[i].name, name))
			return true;
	return false;
}

/* "bookmarks/mara-Product-Default.html", in `arena`; NULL: no memory. */
static const char *make_name(
    struct work *work, const char *owner, const char *profile, struct arena *arena)
{
	struct buf plain = {0}, mapped = {0};
	char *name = NULL;

	buf_printf(&plain, "%s-%s", owner, profile);
	name_map(&mapped, buf_text(&plain));
	cut(&mapped, NAME_ROOM);
	for (unsigned number = 1; !mapped.failed && !plain.failed; number++) {
		name = number == 1
			   ? arena_printf(arena, FOLDER "%s.html", buf_text(&mapped))
			   : arena_printf(arena, FOLDER "%s-%u.html", buf_text(&mapped), number);
		if (!name || !is_taken(work->papers, name))
			break;
	}
	buf_free(&plain);
	buf_free(&mapped);
	return name;
}

static void tell_written(struct work *work, const struct bookmarks *bookmarks, const char *owner,
    const char *place, const char *name)
{
	findings_add(work->findings, WEIGHT_NOTE, "bookmarks-written", owner,
	    "In the new browser, import bookmarks from an HTML file and choose this one.",
	    "The bookmarks of %s (%s) are in %s.", place, text_count(bookmarks->n_links).text,
	    name);
	if (bookmarks->left_out > 0)
		findings_add(work->findings, WEIGHT_NOTE, "bookmarks-left-out", owner, "",
		    "%s leaves out what has no address, and lists that the browser makes by "
		    "itself: "
		    "%s of the entries of %s.",
		    name, text_count(bookmarks->left_out).text, place);
	if (bookmarks->is_partial)
		findings_add(work->findings, WEIGHT_CAUTION, "bookmarks-partial", owner,
		    "Compare with what the owner remembers before the old drive is given away.",
		    "The bookmarks of %s could not be read in full: some may be missing in %s.",
		    place, name);
}

/* Writes the bookmarks of the profile, or the folder of favourites, at the old path `folder`. */
static bool write_one(struct work *work, const struct bookmarks *bookmarks, const struct item *item,
    const char *folder, const char *profile)
{
	const char *owner = owner_of(work->plan, item);
	const char *volume = work->plan->survey->volumes[item->volume].name;
	struct arena arena = {0};
	struct buf html = {0}, title = {0};
	const char *name = make_name(work, owner, profile, &arena);
	const char *place = arena_printf(&arena, "%s%s", volume, folder);
	bool good;

	buf_printf(&title, "Bookmarks of %s from %s", owner, place ? place : "");
	bookmarks_to_html(bookmarks, buf_text(&title), &html);
	good = name && place && !title.failed
		   ? papers_add(work->papers, work->job, name, &html, work->error)
		   : error_no_memory(work->error);
	if (good)
		tell_written(work, bookmarks, owner, place, name);
	buf_free(&html);
	buf_free(&title);
	arena_free(&arena);
	return good;
}

/* --- files of browsers --- */

/* Was the file written that this one is a copy of ("X.bak" of "X")? */
static bool is_copy_of_read(const struct work *work, const struct item *item)
{
	const char *name = item_name(work->plan, item);
	size_t length = strlen(name) - strlen(".bak");
	uint32_t parent = item_entry(work->plan, item)->parent;

	for (size_t i = 0; i < work->n_read; i++) {
		const struct item *other = work->read[i];
		const char *base = item_name(work->plan, other);

		if (other->volume == item->volume &&
		    item_entry(work->plan, other)->parent == parent && strlen(base) == length &&
		    utf_starts_fold(name, base))
			return true;
	}
	return false;
}

static void tell_broken(struct work *work, const struct item *item, const char *path,
    bool is_partial)
{
	findings_add(work->findings, WEIGHT_CAUTION, "bookmarks-unreadable",
	    owner_of(work->plan, item),
	    "The browser's own backups were used where it had any. Look whether it keeps bookmarks "
	    "in an account.",
	    "%s%s should hold bookmarks, but %s.", work->plan->survey->volumes[item->volume].name,
	    path,
	    is_partial ? "too much of it could not be read off the drive" :
			 "they could not be read: the file is damaged or too large. It is in the "
			 "archive as it is");
}

static bool is_too_much(struct work *work, const struct item *item)
{
	work->n_tried++;
	work->bytes_tried += item_size(work->plan, item);
	if (work->n_tried <= PROFILE_LIMIT && work->bytes_tried <= BYTES_LIMIT)
		return false;
	findings_add(work->findings, WEIGHT_CAUTION, "bookmarks-too-many", "",
	    "All of them are in the archive as they are.",
	    "There are more files that may hold bookmarks than any PC should have. Not all of them "
	    "were opened.");
	return true;
}

static bool write_profile(struct work *work, const struct item *item)
{
	struct bookmarks bookmarks = {0};
	struct buf path = {0}, profile = {0};
	enum bookmarks_found found;
	bool good = true;

	if (is_too_much(work, item))
		return true;
	found = bookmark_file_read(work->plan, item, &bookmarks);

	plan_old_path(work->plan, item, &path);
	bookmark_file_profile(buf_text(&path), &profile);
	if (bookmarks.no_memory || path.failed || profile.failed) {
		good = error_no_memory(work->error);
	} else if (found == BOOKMARKS_BROKEN) {
		work->has_browser = true;
		tell_broken(work, item, buf_text(&path), bookmarks.is_partial);
	} else if (found == BOOKMARKS_READ) {
		work->has_browser = true;
		/* The profile's folder, without the file. */
		path.data[path.length - strlen(item_name(work->plan, item)) - 1] = 0;
		if (bookmarks.n_links > 0)
			good =
			    write_one(work, &bookmarks, item, buf_text(&path), buf_text(&profile));
		if (good && !array_reserve(&work->read, &work->capacity, work->n_read + 1,
				sizeof(*work->read)))
			good = error_no_memory(work->error);
		else if (good)
			work->read[work->n_read++] = item;
	}
	bookmarks_free(&bookmarks);
	buf_free(&path);
	buf_free(&profile);
	return good;
}

/* The folder above the one that the item lies in, NONE: there is none. */
static uint32_t folder_above(const struct plan *plan, const struct item *item)
{
	const struct catalogue *catalogue = item_catalogue(plan, item);
	const struct node *node = catalogue_node(catalogue, item_entry(plan, item)->parent);

	return node && node->n_entries > 0 ? catalogue->entries[node->first_entry].parent : NONE;
}

/* Was anything read in that folder? */
static bool is_read(const struct work *work, uint32_t volume, uint32_t folder)
{
	for (size_t i = 0; i < work->n_read; i++)
		if (work->read[i]->volume == volume &&
		    item_entry(work->plan, work->read[i])->parent == folder)
			return true;
	return false;
}

/* Of backups side by side the last one in order of names, which hold their day, is the newest. */
static bool is_newest(const struct plan *plan, size_t index)
{
	const struct item *item = &plan->items[index], *next = item + 1;

	for (; next < plan->items + plan->n_items && next->volume == item->volume; next++) {
		if (next->kind == ITEM_FILE &&
		    item_entry(plan, next)->parent != item_entry(plan, item)->parent)
			return true;
		if (bookmark_file_kind(plan, next) == BOOKMARK_FILE_BACKUP)
			return false;
	}
	return true;
}

/* Backups count only where the database beside their folder could not be read. */
static bool write_backups(struct work *work)
{
	const struct plan *plan = work->plan;
	bool good = true;

	for (size_t i = 0; good && i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];

		if (bookmark_file_kind(plan, item) == BOOKMARK_FILE_BACKUP && is_newest(plan, i) &&
		    !is_read(work, item->volume, folder_above(plan, item)))
			good = write_profile(work, item);
	}
	return good;
}

static bool write_profiles(struct work *work)
{
	const struct plan *plan = work->plan;
	bool good = true;

	for (size_t i = 0; good && i < plan->n_items; i++) {
		enum bookmark_file kind = bookmark_file_kind(plan, &plan->items[i]);

		if (kind == BOOKMARK_FILE_JSON || kind == BOOKMARK_FILE_DATABASE)
			good = write_profile(work, &plan->items[i]);
	}
	/* A backup counts only where its original could not be read. */
	for (size_t i = 0; good && i < plan->n_items; i++)
		if (bookmark_file_kind(plan, &plan->items[i]) == BOOKMARK_FILE_JSON_COPY &&
		    !is_copy_of_read(work, &plan->items[i]))
			good = write_profile(work, &plan->items[i]);
	return good && write_backups(work);
}

/* --- folders of favourites --- */

struct favourite {
	const struct item *item;
	const char *path; /* old path */
};

/* Those of one folder. */
struct favourites {
	struct arena arena;
	uint32_t folder;
	struct favourite *items;
	size_t count, capacity;
};

static int by_path(const void *a, const void *b)
{
	const struct favourite *one = a, *other = b;
	size_t i = 0;

	/* Folder by folder: the separator comes before every character of a name. */
	while (one->path[i] && one->path[i] == other->path[i])
		i++;
	if (one->path[i] == other->path[i])
		return 0;
	if (one->path[i] == '\\' || other->path[i] == '\\')
		return one->path[i] == '\\' && other->path[i]   ? -1
		       : other->path[i] == '\\' && one->path[i] ? 1
		       : one->path[i]                           ? 1
								: -1;
	return (uint8_t)one->path[i] < (uint8_t)other->path[i] ? -1 : 1;
}

/* Adds the folders between `from` (bytes of the path that are open already) and the file. */
static size_t open_folders(struct bookmarks *bookmarks, const char *path, size_t from,
    uint16_t *depth, struct arena *arena)
{
	for (;;) {
		size_t length = strcspn(path + from, "\\");
		struct bookmark folder = {.kind = BOOKMARK_FOLDER, .depth = *depth};

		if (path[from + length] == '\0')
			return from;
		folder.title = arena_text(arena, path + from, length);
		bookmarks_add(bookmarks, &folder);
		if (*depth < BOOKMARK_DEPTH)
			++*depth;
		from += length + 1;
	}
}

/* How much of two paths, up to a separator, is the same, and how many folders that is. */
static size_t common_folders(const char *one, const char *other, size_t base, uint16_t *depth)
{
	size_t same = base;

	*depth = 0;
	for (size_t i = base; one[i] && one[i] == other[i]; i++)
		if (one[i] == '\\') {
			same = i + 1;
			if (*depth < BOOKMARK_DEPTH)
				++*depth;
		}
	return same;
}

static void add_favourite(struct work *work, struct bookmarks *bookmarks,
    struct favourites *favourites, size_t index, size_t base)
{
	const struct favourite *favourite = &favourites->items[index];
	const struct node *node = item_node(work->plan, favourite->item);
	const char *before = index > 0 ? favourites->items[index - 1].path : "";
	struct bookmark link = {
	    .kind = BOOKMARK_LINK, .added = node->created, .modified = node->modified};
	bool is_partial = false;
	size_t at = base;

	link.address = bookmark_file_address(
	    work->plan, favourite->item, &favourites->arena, &is_partial);
	bookmarks->is_partial = bookmarks->is_partial || is_partial;
	if (strlen(before) > base)
		at = common_folders(favourite->path, before, base, &link.depth);
	at = open_folders(bookmarks, favourite->path, at, &link.depth, &favourites->arena);
	link.title = arena_text(&favourites->arena, favourite->path + at,
	    strlen(favourite->path + at) - strlen(".url"));
	if (link.address)
		bookmarks_add(bookmarks, &link);
	else if (!is_partial)
		bookmarks->left_out++;
}

/* All favourites of one folder. */
static bool write_favourites(struct work *work, struct favourites *favourites)
{
	const struct item *first = favourites->items[0].item;
	struct bookmarks bookmarks = {0};
	struct buf place = {0};
	size_t base;
	bool good = true;

	catalogue_node_path(item_catalogue(work->plan, first), favourites->folder, &place);
	base = place.length + (place.length > 1); /* with a separator */
	qsort(favourites->items, favourites->count, sizeof(*favourites->items), by_path);
	for (size_t i = 0; i < favourites->count; i++)
		if (strlen(favourites->items[i].path) > base)
			add_favourite(work, &bookmarks, favourites, i, base);
	bookmarks_prune(&bookmarks);
	if (bookmarks.no_memory || place.failed)
		good = error_no_memory(work->error);
	else if (bookmarks.n_links > 0)
		good = write_one(work, &bookmarks, first, buf_text(&place), "Favorites");
	else if (bookmarks.is_partial)
		tell_broken(work, first, buf_text(&place), true);
	bookmarks_free(&bookmarks);
	buf_free(&place);
	return good;
}

static bool collect(struct work *work, struct favourites *favourites, const struct item *item)
{
	struct favourite favourite = {.item = item};
	struct buf path = {0};

	plan_old_path(work->plan, item, &path);
	favourite.path = path.failed ? NULL : arena_strdup(&favourites->arena, buf_text(&path));
	buf_free(&path);
	if (!favourite.path || !array_reserve(&favourites->items, &favourites->capacity,
				   favourites->count + 1, sizeof(*favourites->items)))
		return error_no_memory(work->error);
	favourites->items[favourites->count++] = favourite;
	return true;
}

/* Items are sorted by group and folder, so those of one folder stand together. */
static bool write_all_favourites(struct work *work)
{
	const struct plan *plan = work->plan;
	struct favourites favourites = {0};
	bool good = true;

	for (size_t i = 0; good && i < plan->n_items; i++) {
		const struct item *item = &plan->items[i];
		uint32_t folder;

		if (bookmark_file_kind(plan, item) != BOOKMARK_FILE_URL)
			continue;
		folder = bookmark_file_favourites(plan, item);
		if (favourites.count > 0 && (favourites.folder != folder ||
						favourites.items[0].item->volume != item->volume)) {
			good = write_favourites(work, &favourites);
			favourites.count = 0;
		}
		favourites.folder = folder;
		good = good && collect(work, &favourites, item);
	}
	if (good && favourites.count > 0)
		good = write_favourites(work, &favourites);
	free(favourites.items);
	arena_free(&favourites.arena);
	return good;
}

/* --- what else there is to know --- */

static const char about[] =
    "What is in this folder, and what travels with a browser\n"
    "========================================================\n"
    "\n"
    "Each HTML file here holds the bookmarks of one browser profile of the old PC, or\n"
    "of one person's folder of favorites. In the new browser choose to import\n"
    "bookmarks from an HTML file, and name that file. Titles, addresses, folders and\n"
    "dates come along. Lists that a browser makes by itself, and the small pictures\n"
    "beside bookmarks, do not.\n"
    "\n"
    "The whole profile, without its caches, is in the person's settings in the\n"
    "archive: history, open tabs, add-ons with their data, and options. Only the same\n"
    "browser, in the same or a newer version, can use it, and some of it not at all:\n"
    "\n"
    "* Browsers of the Chromium family lock saved passwords, sign-ins (cookies) and\n"
    "  payment cards with a key that is itself locked for one Windows account on one\n"
    "  PC. On another PC they stay shut, also when the files are copied.\n"
    "* Browsers of the Mozilla family keep that key in the profile. Sign-ins travel.\n"
    "  Saved passwords travel only with the files that were left here: see below.\n"
    "* The old system's own browser kept passwords in a store of the Windows account.\n"
    "  They stay shut on another PC.\n"
    "* Passkeys and other keys that were made for the old PC alone never leave it.\n"
    "\n"
    "Saved passwords were not opened, and the files that hold them were not taken\n"
    "unless the owner asked for them with --take. The record lists them with the\n"
    "reason \"passwords\".\n"
    "\n"
    "How an owner gets back in, the easiest way first:\n"
    "\n"
    "1. Was the old browser signed in to an account that keeps passwords? Sign in to\n"
    "   it in the new browser.\n"
    "2. Does the old PC still start? Start it, let the old browser write its passwords\n"
    "   to a file, import that file on the new PC, and destroy it at once: anybody\n"
    "   can read it.\n"
    "3. Otherwise use \"forgot password\" at each service. That needs the owner's mail,\n"
    "   so begin with the mail account, and see that the phone or the codes for its\n"
    "   second step are at hand before the old PC is wiped.\n"
    "\n"
    "Bookmarks and history show what somebody read. They are private: hand them to\n"
    "their owner and to nobody else.\n";

static bool write_about(struct work *work)
{
	struct buf text = {0};
	bool good;

	buf_add_text(&text, about);
	good = papers_add(work->papers, work->job, FOLDER BOOKMARKS_READ_ME, &text, work->error);
	buf_free(&text);
	if (work->has_browser)
		findings_add(work->findings, WEIGHT_CAUTION, "browser-passwords", "",
		    "Before the old PC is wiped, read bookmarks/read-me.txt in the job: it says "
		    "how "
		    "to get back in.",
		    "Browser profiles were taken without their caches. Saved passwords were not "
		    "opened, and most sign-ins do not work on another PC.");
	return good;
}

bool bookmarks_write(const struct plan *plan, const struct job *job, struct papers *papers,
    struct findings *findings, struct error *error)
{
	struct work work = {
	    .plan = plan, .job = job, .papers = papers, .findings = findings, .error = error};
	bool good = write_profiles(&work) && write_all_favourites(&work);

	if (good && (papers->count > 0 || work.has_browser))
		good = write_about(&work);
	free(work.read);
	return good;
}
