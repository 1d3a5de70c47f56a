#!/usr/bin/env bash
# The static program in an empty root folder, with nothing but /proc, /dev and /sys (and /proc alone or none of
# them where mounting is not permitted): it extracts the demo drives, and names that are not ASCII are right.
#
# The names are checked by Python's zipfile and tarfile, the bytes by unzip, GNU tar and sha256sum.
. "$(dirname "$0")/_common.sh"
need_demo
(($(id -u) == 0)) || skip "needs root to change the root folder"

chroot=$(command -v chroot) || skip "chroot is not there"
mkdir empty
cp "$COLDLIFT" empty/coldlift
cp --sparse=always "$system_image" "$data_image" empty/
mounted=
for folder in proc dev sys; do
	mkdir "empty/$folder"
	if mount --rbind "/$folder" "empty/$folder" 2>/dev/null; then
		mount --make-rslave "empty/$folder" 2>/dev/null
		undo_later "umount -R -l '$work/empty/$folder'"
		mounted="$mounted $folder"
	fi
done
echo "in the root folder:$mounted"
"$chroot" empty /coldlift --version >out 2>&1 || {
	grep -q 'not permitted' out && skip "changing the root folder is not permitted"
	grep -q 'No such file' out && skip "this build is not static"
	fail "the program does not run: $(<out)"
}

# Unpacks a job as its owner would.
unpack() { # JOB
	local part
	mkdir "$1.unpacked"
	for part in "$1"/*.zip "$1"/*.tar; do
		case $part in
		*-proof.zip | *'*'*) ;;
		*.zip) unzip -q "$part" -d "$1.unpacked" || fail "unzip $part" ;;
		*.tar) tar -xf "$part" -C "$1.unpacked" || fail "tar $part" ;;
		esac
	done
}

for format in zip tar; do
	mkdir "empty/$format"
	env -i "$chroot" empty /coldlift extract --to "/$format" --name job --format $format --quiet \
	    --leave 'D:\Survey\**' /old-system.img /old-data.img >out 2>&1
	[[ $? -eq 1 ]] || fail "$format: extract: $(<out)"
	env -i "$chroot" empty /coldlift verify --quiet "/$format/job" >out 2>&1
	[[ $? -eq 1 ]] || fail "$format: verify: $(<out)"
	export LC_ALL=C.UTF-8
	job=empty/$format/job
	unpack "$job"
	(cd "$job.unpacked" && sha256sum --strict --quiet -c ../job/SHA256SUMS) || fail "$format: sums"
	/usr/bin/python3 - "$job" "$COLDLIFT_DEMO/expected.json" <<'END' || fail "$format: names"
import json, pathlib, sys, tarfile, zipfile

job = pathlib.Path(sys.argv[1])
truth = json.loads(pathlib.Path(sys.argv[2]).read_text("utf-8"))
names = set()
for part in job.glob("*.zip"):
    if not part.name.endswith("-proof.zip"):
        for info in zipfile.ZipFile(part).infolist():
            assert info.filename.isascii() or info.flag_bits & 0x800, info.filename
            names.add(info.filename.rstrip("/"))
for part in job.glob("*.tar"):
    names.update(tarfile.open(part).getnames())
record = [json.loads(line) for line in (job / "record.jsonl").open(encoding="utf-8")][1:]
lines = {line["as"] for line in record if "as" in line}
assert names == lines, sorted(names ^ lines)[:10]
# Every old name that is not ASCII and harmless everywhere stands in the archive as it was.
wanted = 0
by_key = {(line["volume"], line["path"], line.get("stream", "")): line for line in record}
for row in truth["streams"]:
    name = row["path"].rsplit("\\", 1)[-1]
    if row["state"] != "taken" or name.isascii() or "\ufffd" in name or row["stream"]:
        continue
    if any(ord(c) < 32 or c in '<>:"/|?*' for c in name) or name[-1] in ". ":
        continue
    line = by_key[row["volume"], row["path"], row["stream"]]
    if "as" not in line or len(name.encode()) > 200:
        continue
    folder, _, last = line["as"].rpartition("/")
    # A person's folder goes by its role, a twin by an ending.
    wanted += last == name
assert wanted >= 10, wanted
assert any("/Zoë/" in name for name in names)
END
done

# Without /proc, /dev and /sys, too.
mkdir bare bare/to
cp "$COLDLIFT" bare/coldlift
cp --sparse=always "$system_image" bare/
env -i "$chroot" bare /coldlift extract --to /to --name job --quiet --person Zoë /old-system.img >out 2>&1
[[ $? -le 1 ]] || fail "a bare root folder: $(<out)"

finish
