#!/usr/bin/python3
"""Bookmarks of browsers, compared with what other programs read in the same files.

References: sqlite3 (the command, and Python's module) for the databases and for what of a write-ahead log counts,
also of one that was cut off; Python's json and html.parser; the sample database in $COLDLIFT_DATA/browser (plaso
test data), which a browser wrote.
"""

import json
import os
import pathlib
import random
import shutil
import sqlite3
import struct
import subprocess
import sys

import _bookmarks
from _harness import check, finish, tool, work_folder

sys.dont_write_bytecode = True
ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "fixtures"))

from maker import bookmarks as maker  # noqa: E402
from maker.bookmarks import Folder, Link  # noqa: E402

BUILD = pathlib.Path(os.environ.get("COLDLIFT_BUILD", ROOT / "build"))
DATA = pathlib.Path(os.environ.get("COLDLIFT_DATA", ROOT.parent / "shared/data"))


class Dump:
    def __init__(self, work, *arguments):
        done = subprocess.run([BUILD / "tests/run/dump_bookmarks", *map(str, arguments)],
                              capture_output=True, check=False)
        self.status = done.returncode
        self.text = done.stdout
        check(done.returncode in (0, 1, 3, 4), arguments, "status", done.returncode,
              done.stderr[-500:])
        path = work / "page.html"
        path.write_bytes(done.stdout)
        self.page = _bookmarks.Page(path) if done.returncode < 2 and arguments[0] != "url" else None


# --- databases ---

def rows_by_command(path):
    """moz_bookmarks with the addresses, by sqlite3's command line."""
    has_guid = "guid" in tool("sqlite3", path, "SELECT sql FROM sqlite_master "
                              "WHERE name = 'moz_bookmarks'").split("(", 1)[1]
    question = ("SELECT b.id, b.type, b.parent, b.position, b.title, b.dateAdded / 1000000 AS added, "
                "b.lastModified / 1000000 AS modified, "
                f"p.url, {'b.guid' if has_guid else 'NULL'} AS guid "
                "FROM moz_bookmarks b LEFT JOIN moz_places p ON p.id = b.fk")
    rows = json.loads(tool("sqlite3", "-json", path, question) or "[]")
    if not has_guid:
        roots = dict(line.split("|") for line in tool(
            "sqlite3", path, "SELECT folder_id, root_name FROM moz_bookmarks_roots").splitlines())
        names = {"places": "root________", "tags": "tags________"}
        for row in rows:
            row["guid"] = names.get(roots.get(str(row["id"])))
    return rows


def tree_of(rows):
    """The links as html.parser should find them, by a walk of our own."""
    links, lines, modified, folders_at = [], 0, [], {}
    below = {}
    for row in rows:
        below.setdefault(row["parent"], []).append(row)
    numbers = {row["id"] for row in rows}

    def walk(row, folders):
        nonlocal lines
        if row["guid"] == "tags________":
            return
        if row["type"] == 3:
            lines += 1
        elif row["type"] == 1 and row["url"] and not row["url"].startswith("place:"):
            added = row["added"]
            links.append({"folders": folders, "title": row["title"] or "", "address": row["url"],
                          "added": added or None})
            modified.append(row["modified"] or None)
        elif row["type"] == 2:
            inner = folders if row["guid"] == "root________" else folders + [row["title"] or ""]
            folders_at[row["title"]] = [row["added"], row["modified"]]
            for child in sorted(below.get(row["id"], []), key=lambda r: (r["position"], r["id"])):
                walk(child, inner)

    for row in rows:
        if row["parent"] not in numbers:
            walk(row, [])
    return links, lines, modified, folders_at


def check_sample(work):
    path = DATA / "browser/places.sqlite"
    if not path.exists():
        print("skipped: no sample database")
        return
    links, lines, modified, folders_at = tree_of(rows_by_command(path))
    dump = Dump(work, "database", path)
    check(dump.page.modified == modified, "sample: changes", dump.page.modified[:5], modified[:5])
    check(len(dump.page.folder_times) > 3 and
          all(folders_at[title] == times for title, times in dump.page.folder_times.items()),
          "sample: folders", dump.page.folder_times)
    check(dump.status == 0, "sample: status", dump.status)
    check(len(links) > 50 and dump.page.links == links, "sample: links", dump.page.links[:3],
          links[:3])
    check(dump.page.lines == lines and dump.page.bars <= 1, "sample: lines", dump.page.lines, lines)


def grow(base, roll, count):
    """Some changes as a browser makes them."""
    for _ in range(count):
        kind = roll.random()
        folders = [row[0] for row in base.execute("SELECT id FROM moz_bookmarks WHERE type = 2 "
                                                  "AND id NOT IN (1, 5)")]
        parent = roll.choice(folders)
        if kind < 0.2:
            base.execute("INSERT INTO moz_bookmarks (type, parent, position, title, guid) "
                         "VALUES (2, ?, ?, ?, NULL)", (parent, roll.randrange(9),
                                                       f"F {roll.random()}"))
        elif kind < 0.9:
            place = base.execute("INSERT INTO moz_places (url) VALUES (?)",
                                 (f"https://{roll.random()}.example/" + "y" * roll.randrange(900),))
            base.execute("INSERT INTO moz_bookmarks (type, fk, parent, position, title, dateAdded) "
                         "VALUES (1, ?, ?, ?, ?, ?)",
                         (place.lastrowid, parent, roll.randrange(9), f"é <{roll.random()}> & \"x\"",
                          roll.randrange(10 ** 15, 2 * 10 ** 15)))
        else:
            base.execute("DELETE FROM moz_bookmarks WHERE id > 40 AND id % 7 = ?",
                         (roll.randrange(7),))
        base.commit()


def live_database(work, roll, page_size):
    """A database whose newest changes are in its log, as it lies on a drive of a PC that was cut off."""
    live, path = work / "live.sqlite", work / "places.sqlite"
    for old in work.glob("live.sqlite*"):
        old.unlink()
    base = sqlite3.connect(live)
    base.execute(f"PRAGMA page_size = {page_size}")
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA wal_autocheckpoint = 0")
    base.executescript("\n".join(maker._SCHEMA.strip().splitlines()[1:]))
    for row, (name, guid) in enumerate((("", "root________"), *maker._GUIDS.items()), 1):
        base.execute("INSERT INTO moz_bookmarks (id, type, parent, position, title, guid) "
                     "VALUES (?, 2, ?, ?, ?, ?)", (row, int(row > 1), row, name, guid))
    grow(base, roll, 60)
    if roll.random() < 0.5:
        base.execute("PRAGMA wal_checkpoint(PASSIVE)")
        grow(base, roll, 30)
    if roll.random() < 0.3:
        base.execute("DELETE FROM moz_places WHERE id % 3 = 0")
        base.commit()
        base.execute("VACUUM")
    shutil.copy(live, path)
    shutil.copy(f"{live}-wal", f"{path}-wal")
    base.close()
    return path


def check_logs(work):
    """Logs whole, cut off and damaged: what counts is what sqlite3 itself recovers."""
    roll = random.Random(6)
    n_links = 0
    for number in range(12):
        path = live_database(work, roll, 1 << (9 + number % 8))
        log = pathlib.Path(f"{path}-wal")
        data = bytearray(log.read_bytes())
        if number % 3 == 1:
            del data[roll.randrange(32, len(data)):]
        elif number % 3 == 2:
            data[roll.randrange(len(data))] ^= 1 << roll.randrange(8)
        log.write_bytes(data)
        dump = Dump(work, "database", path, log)
        # Now sqlite3 may write to both.
        try:
            links, lines, modified, _ = tree_of(rows_by_command(path))
        except SystemExit:  # nothing but the log had the tables
            check(dump.status in (3, 4), "log", number, "status", dump.status)
            continue
        check(dump.status == 0 and dump.page.links == links and dump.page.lines == lines, "log",
              number, dump.status, len(dump.page.links) if dump.page else None, len(links))
        if dump.page:
            check(dump.page.modified == modified, "log", number, "changes")
        n_links += len(links)
    check(n_links > 300, "too few links to say anything:", n_links)


def check_hostile_databases(work):
    path = work / "hostile.sqlite"

    def make(script):
        path.unlink(missing_ok=True)
        base = sqlite3.connect(path)
        base.executescript(script)
        base.close()
        return Dump(work, "database", path).status

    endless = ("WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x AS id, 1 AS "
               "type, 1 AS fk, 0 AS parent, 0 AS position, 'x' AS title, 0 AS dateAdded, "
               "0 AS lastModified FROM c")
    places = "CREATE TABLE moz_places (id INTEGER PRIMARY KEY, url TEXT);"
    check(make(f"{places} CREATE VIEW moz_bookmarks AS {endless};") == 3, "a view is no table")
    check(make(f"{places} CREATE VIRTUAL TABLE moz_bookmarks USING fts4(id);") == 3, "a virtual one")
    check(make("CREATE TABLE moz_bookmarks (a); " + places) == 4, "no columns")
    check(make("CREATE TABLE other (a)") == 3, "another program's")
    columns = ("(id INTEGER PRIMARY KEY, type, fk, parent, position, title, dateAdded, lastModified, "
               "guid)")
    ring = "".join(f"INSERT INTO moz_bookmarks VALUES ({i}, 2, 0, {i % 50 + 1}, 0, 'ring', 0, 0, '');"
                   for i in range(1, 51))
    link = ("INSERT INTO moz_places VALUES (7, 'https://ring.example/'); INSERT INTO moz_bookmarks "
            "VALUES (99, 1, 7, 9, 0, x'ff00fe', 9e18, -5, x'00');")
    status = make(f"{places} CREATE TABLE moz_bookmarks {columns}; {ring} {link}")
    check(status == 0, "a ring of folders", status)
    check(b"https://ring.example/" in Dump(work, "database", path).text, "the link in the ring")
    deep = "".join(f"INSERT INTO moz_bookmarks VALUES ({i}, 2, 0, {i - 1}, 0, 'd', 0, 0, '');"
                   for i in range(1, 3000))
    check(make(f"{places} CREATE TABLE moz_bookmarks {columns}; {deep} INSERT INTO moz_places VALUES "
               "(1, 'https://deep.example/'); INSERT INTO moz_bookmarks VALUES "
               "(9000, 1, 1, 2999, 0, 't', 0, 0, '');") == 0, "deep folders")
    check(len(Dump(work, "database", path).page.links) == 1, "the link in deep folders")
    whole = maker.Places()
    whole.add("menu", *(Link(f"L {i}", f"https://{i}.example/") for i in range(300)))
    good = whole.state()
    roll = random.Random(7)
    read = 0
    for _ in range(60):
        data = bytearray(good)
        for _ in range(roll.randrange(1, 12)):
            data[roll.randrange(len(data))] = roll.randrange(256)
        path.write_bytes(data[:roll.randrange(len(data))] if roll.random() < 0.3 else data)
        read += Dump(work, "database", path).status in (0, 1)
    check(read > 20, "only", read, "damaged databases could be read")
    # A page of the table is gone: the ends on both sides of it are there.
    base = sqlite3.connect(":memory:")
    base.deserialize(good[:18] + b"\1\1" + good[20:])
    page = base.execute("SELECT pageno FROM dbstat WHERE name = 'moz_bookmarks' AND pagetype = 'leaf' "
                        "LIMIT 1 OFFSET 2").fetchone()[0] if has_dbstat(base) else None
    if page:
        data = bytearray(good)
        data[(page - 1) * 4096:page * 4096] = bytes(4096)
        path.write_bytes(data)
        dump = Dump(work, "database", path)
        check(dump.status == 1 and len(dump.page.links) > 150, "one page lost:", dump.status,
              dump.page and len(dump.page.links))


def has_dbstat(base):
    try:
        base.execute("SELECT 1 FROM dbstat LIMIT 1")
        return True
    except sqlite3.OperationalError:
        return False


# --- JSON ---

def check_json(work):
    path = work / "Bookmarks"
    odd = [Link("", "https://no-title.example/"), Link("line\nbreak\tand tab", "data:text/plain,a\nb"),
           Link("  blanks  ", "https://blanks.example/"), Link("</A></DL><p>", "x:\"'<>&amp;&#65;"),
           Link("&lt;", "https://entity.example/?a=1&b=2&copy=3"), Link("🌱 庭 é", "https://é.example/")]
    bar = Folder("Bar", *odd, Folder("Inner", Folder("Empty"), Link("in", "https://in.example/",
                                                                     "2024-02-29T12:00:00")))
    other = Folder("Other", Link("o", "https://o.example/", "1970-01-01T00:00:01"))
    path.write_bytes(maker.as_json(bar, other))
    dump = Dump(work, "json", path)
    check(dump.page.links == list(maker.flat((bar, other))), "JSON:", dump.page.links)
    check(dump.page.bars == 1, "one bar")
    whole = path.read_bytes()
    for text, status in ((whole[:-40], 4), (b"\"roots\"", 4), (b"{\"roots\": 3}", 3),
                         (b"{\"roots\": {\"x\": [1]}}", 3), (b"{}", 3), (b"[" * 100000, 3),
                         (b"{\"roots\":" + b"[" * 100000, 4),
                         (b'{"roots": {"a": {"children": [3, null, {}, {"url": 4}, [[]]]}}}', 0)):
        path.write_bytes(text)
        check(Dump(work, "json", path).status == status, "JSON", text[:60], "is not", status)
    path.write_text('{"roots": {"a": ' + '{"children": [' * 900 + '{"url": "https://d.example/"}' +
                    "]}" * 900 + "}}")
    check(len(Dump(work, "json", path).page.links) == 1, "deep JSON")
    # More moments than a number can hold, and none at all.
    path.write_text('{"roots": {"a": {"name": "\\u0000x", "children": [{"url": "u:1", "date_added": '
                    '"999999999999999999"}, {"url": "u:2", "date_added": 5}]}}}')
    check([link["address"] for link in Dump(work, "json", path).page.links] == ["u:1", "u:2"],
          "odd moments")


def lz4_block(data):
    """A block of literals and one copy, by hand after "LZ4 Block Format"."""
    def length(count):
        return bytes([255] * (count // 255) + [count % 255])

    # What comes twice at the front: 40 blanks from one.
    body = data[40:]
    assert data[:40] == b" " * 40
    return (b"\x1f " + struct.pack("<H", 1) + length(39 - 4 - 15) +
            b"\xf0" + length(len(body) - 15) + body)


def check_backups(work):
    """Backups of the Mozilla family: the tree as Python's json has it, plain and packed."""
    def link(title, uri, added=1556692200123456):
        return {"guid": "x" * 12, "title": title, "dateAdded": added, "lastModified": added,
                "typeCode": 1, "type": "text/x-moz-place", "uri": uri}

    def folder(guid, title, *children):
        return {"guid": guid, "title": title, "typeCode": 2, "children": list(children)}

    tree = folder("root________", "", folder("menu________", "menu", link("a <b>", "https://a.example/"),
                                             {"typeCode": 3}, folder("f", "Füße", link("c", "u:c", 0))),
                  folder("toolbar_____", "toolbar", link("d", "place:sort=8"), link("e", "u:e")),
                  folder("tags________", "tags", folder("t", "tag", link("", "https://a.example/"))),
                  folder("unfiled_____", "unfiled"))
    wanted = [{"folders": ["menu"], "title": "a <b>", "address": "https://a.example/",
               "added": 1556692200},
              {"folders": ["menu", "Füße"], "title": "c", "address": "u:c", "added": None},
              {"folders": ["toolbar"], "title": "e", "address": "u:e", "added": 1556692200}]
    text = b" " * 40 + json.dumps(tree).encode("utf-8")
    path = work / "bookmarks-2023-11-04_45.jsonlz4"
    packed = b"mozLz40\0" + struct.pack("<I", len(text)) + lz4_block(text)
    for data in (text, packed):
        path.write_bytes(data)
        page = Dump(work, "json", path).page
        check(page.links == wanted and page.lines == 1 and page.bars == 1, "backup", page.links)
    for data in (packed[:-9], packed[:12], packed[:8], b"mozLz40\0" + b"\xff" * 4 + packed[12:],
                 b"mozLz40\0" + struct.pack("<I", len(text) - 1) + packed[12:]):
        path.write_bytes(data)
        check(Dump(work, "json", path).status == 4, "broken backup", data[:20])


def check_url_files(work):
    path = work / "x.url"
    for data, wanted in ((maker.url_file("https://a.example/"), "https://a.example/"),
                         (maker.url_file("https://é.example/", "utf-8-sig"), "https://é.example/"),
                         (maker.url_file("https://é.example/", "utf-16"), "https://é.example/"),
                         (maker.url_file("https://é.example/", "latin-1"), "https://é.example/"),
                         (b"[DEFAULT]\nURL=no\n[internetshortcut]\n url=HTTP://b.example/ \n",
                          "HTTP://b.example/"),
                         (b"URL=outside\n", ""), (b"[InternetShortcut]\nURL=", ""), (b"\xff\xfe", ""),
                         (b"\xff\xfeU", ""), (b"[InternetShortcut]\nURL=a\0b", "")):
        path.write_bytes(data)
        check(Dump(work, "url", path).text.decode("utf-8").strip() == wanted, data, wanted)


with work_folder() as folder:
    WORK = pathlib.Path(folder)
    check_sample(WORK)
    check_logs(WORK)
    check_hostile_databases(WORK)
    check_json(WORK)
    check_backups(WORK)
    check_url_files(WORK)
finish()
