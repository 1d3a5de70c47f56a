"""Bookmarks in HTML as Python's html.parser reads them: an independent reader of the import format.

Microsoft, "Netscape Bookmark File Format": H3 is a folder, the DL behind it holds what is in it, A is a link.
"""

import html.parser


class Page(html.parser.HTMLParser):
    """The links of one page: folders, title, address, moment (seconds since 1970), and the page's title."""

    def __init__(self, path):
        super().__init__(convert_charrefs=True)
        self.name = path.name
        self.links, self.folders, self.lines = [], [], 0
        self.modified = []  # of each link
        self.folder_times = {}  # title: when made and changed
        self.bars = 0
        self.text = self.title = ""
        self.folder = None
        self.link = None
        self.feed(path.read_text(encoding="utf-8"))
        self.close()
        # "Bookmarks of PERSON from PLACE"
        self.place = self.title.partition(" from ")[2]

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.text = ""
        if tag == "dl":
            self.folders.append(self.folder)
            self.folder = None
        elif tag == "h3":
            self.times = [int(found[key]) if key in found else None
                          for key in ("add_date", "last_modified")]
            self.bars += found.get("personal_toolbar_folder") == "true"
        elif tag == "hr":
            self.lines += 1
        elif tag == "a":
            added = found.get("add_date")
            changed = found.get("last_modified")
            self.modified.append(int(changed) if changed else None)
            self.link = {"folders": [name for name in self.folders if name is not None],
                         "title": "", "address": found["href"],
                         "added": int(added) if added else None}

    def handle_data(self, data):
        self.text += data

    def handle_endtag(self, tag):
        if tag == "dl":
            self.folders.pop()
        elif tag == "h3":
            self.folder = self.text
            self.folder_times[self.text] = self.times
        elif tag == "title":
            self.title = self.text
        elif tag == "a":
            self.link["title"] = self.text
            self.links.append(self.link)
