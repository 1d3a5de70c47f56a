#!/bin/bash
# The options of extract, on the demo drives' data volume (and the system drive where persons matter).
#
# References: unzip (Info-ZIP), bsdtar, sha256sum, Python's zipfile, jq. What is expected of each option is
# what `coldlift extract --help` promises; no outside source applies to that.
set -u
system=$COLDLIFT_DEMO/old-system.img
data=$COLDLIFT_DEMO/old-data.img
[ -e "$system" ] && [ -e "$data" ] || { echo "no demo drives"; exit 77; }
export SOURCE_DATE_EPOCH=1782864000
failures=0

# Everything it writes goes into a folder of its own, not into the one that it was called in.
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
cd "$work" || exit 1

fail()
{
	echo "FAILED: $*"
	failures=$((failures + 1))
}

# expect STATUS NAME COMMAND...: runs it with its output in the files out and err
expect()
{
	local wanted=$1 name=$2
	shift 2
	"$@" >out 2>err
	local got=$?
	[ $got -eq "$wanted" ] || fail "$name: status $got, not $wanted: $(head -c 300 err)"
}

# one_sentence NAME: standard error is one short paragraph from us
one_sentence()
{
	[ "$(grep -c '^coldlift: ' err)" -eq 1 ] || fail "$1: not one sentence: $(head -c 300 err)"
}

mkdir to

# --- wrong command lines leave nothing behind ---
expect 2 "no source" "$COLDLIFT" extract --to to; one_sentence "no source"
expect 2 "no destination" "$COLDLIFT" extract "$data"; one_sentence "no destination"
for name in '' . .. ../x a/b 'a\b' CON 'x.' -x; do
	expect 2 "name '$name'" "$COLDLIFT" extract --to to --name="$name" "$data"
	one_sentence "name '$name'"
done
expect 2 "format" "$COLDLIFT" extract --to to --format cab "$data"
expect 2 "part size" "$COLDLIFT" extract --to to --part-size 12Q "$data"
expect 2 "small part size" "$COLDLIFT" extract --to to --part-size 999999 "$data"
expect 2 "same" "$COLDLIFT" extract --to to --same twice "$data"
expect 2 "unknown option" "$COLDLIFT" extract --to to --frobnicate "$data"
expect 2 "unknown person" "$COLDLIFT" extract --to to --person nobody "$system" "$data"
echo 'move D:\x' >bad.plan
expect 2 "plan file" "$COLDLIFT" extract --to to --plan bad.plan "$data"; one_sentence "plan file"
expect 0 "help" "$COLDLIFT" extract --help
grep -q -- --dry-run out || fail "help does not name --dry-run"

# --- destinations that cannot do ---
expect 4 "no folder" "$COLDLIFT" extract --to nowhere "$data"; one_sentence "no folder"
expect 4 "a file" "$COLDLIFT" extract --to bad.plan "$data"; one_sentence "a file"
[ -z "$(ls -A to)" ] || fail "something was left behind: $(ls -A to)"

# --- dry run ---
expect 0 "dry run" "$COLDLIFT" extract --dry-run "$system" "$data"
grep -q 'dry run' out || fail "dry run does not say so"
expect 0 "dry run as JSON" "$COLDLIFT" extract --dry-run --json --quiet "$system" "$data"
[ ! -s err ] || fail "--quiet is not quiet: $(head -c 300 err)"
jq -e '.dry_run and (.items | length > 500) and (.groups | length > 5)' out >/dev/null ||
	fail "dry run: JSON lacks something"
expected=$(jq '[.streams[] | select(.kind == "file")] | length' "$COLDLIFT_DEMO/expected.json")
listed=$(jq '[.items[] | select(.kind == "file" and .reason != "file-system")] | length' out)
[ "$expected" -eq "$listed" ] || fail "dry run lists $listed files, the truth is $expected"

# --- persons, patterns, plan file ---
"$COLDLIFT" extract --dry-run --json --quiet --person mara "$system" "$data" >out 2>err
[ "$(jq -r '[.groups[] | select(.files > 0) | .person] | unique | join(",")' out)" = mara ] ||
	fail "--person mara takes: $(jq -c '[.groups[] | select(.files > 0) | .person] | unique' out)"
cat >a.plan <<'P'
# for the treasurer only
person mara
leave *.jpg
P
"$COLDLIFT" extract --dry-run --json --quiet --plan a.plan "$system" "$data" >out 2>err
jq -e '[.items[] | select(.state == "taken" and (.path | endswith(".jpg")))] == []' out >/dev/null ||
	fail "--plan: pictures are taken all the same"
jq -e '[.items[] | select(.state == "taken")] | length > 20' out >/dev/null ||
	fail "--plan: nothing is taken"

# --- formats, parts, names ---
expect 0 "parts" "$COLDLIFT" extract --quiet --to to --name cut --part-size 1500MB \
	--leave 'D:\Archive\**' --leave '\Archive\**' "$data"
[ "$(ls to/cut/*.unfinished to/cut/journal 2>/dev/null)" = "" ] || fail "parts: not marked complete"
[ "$(stat -c %a to/cut)" = 700 ] || fail "the job folder is open to others"
for part in to/cut/cut-*.zip; do
	unzip -tqq "$part" >/dev/null 2>&1
	[ $? -le 1 ] || fail "unzip -t $part" # 1: an archive without entries
	[ "$(stat -c %s "$part")" -le 1500000000 ] || fail "$part is larger than asked for"
done
(cd to/cut && sha256sum -c --quiet --strict PARTS.SHA256SUMS) >/dev/null || fail "PARTS.SHA256SUMS"
(cd to/cut && sha256sum -c --quiet --strict tagmanifest-sha256.txt) >/dev/null ||
	fail "tagmanifest-sha256.txt"
grep -q '^BagIt-Version: 1.0$' to/cut/bagit.txt || fail "bagit.txt"
jq -e '[.volumes[] | .sum == .clusters and .by_owner.unaccounted == 0] | all' \
	to/cut/account.json >/dev/null || fail "account.json does not add up"

# Small parts (with the losses that the system drive has): each opens by itself, and links stay inside their part.
for format in zip tar; do
	expect 1 "small $format" "$COLDLIFT" extract --quiet --to to --name "small-$format" \
		--format $format --same once --part-size 1M --leave '\Survey\**' "$system" "$data"
	ls to/small-$format/*-2.$format >/dev/null 2>&1 || fail "small $format: one part only"
	mkdir "un-small-$format"
	for part in to/small-$format/small-$format-*.$format; do
		[ "$(stat -c %s "$part")" -le 1000000 ] || fail "$part is larger than asked for"
		case $format:$part in
		*-proof.zip) ;;
		zip:*) unzip -qq "$part" -d "un-small-$format" || [ $? -eq 1 ] ;;
		tar:*) tar -xf "$part" -C "un-small-$format" ;;
		esac || fail "$part: unpacking"
	done
	(cd "un-small-$format" && sha256sum -c --quiet --strict "../to/small-$format/SHA256SUMS") \
		>/dev/null || fail "small $format: SHA256SUMS"
done

# The same job again, and again at another time, holds the same bytes.
expect 0 "again" "$COLDLIFT" extract --quiet --to to --name again --leave '\Archive\**' \
	--leave '\Survey\**' "$data"
mkdir to2
expect 0 "once more" "$COLDLIFT" extract --quiet --to to2 --name again --leave '\Archive\**' \
	--leave '\Survey\**' "$data"
diff -r to/again to2/again >/dev/null || fail "two runs differ: $(diff -rq to/again to2/again)"
(
	unset SOURCE_DATE_EPOCH
	mkdir to3
	"$COLDLIFT" extract --quiet --to to3 --name again --leave '\Archive\**' \
		--leave '\Survey\**' "$data"
	[ $? -eq 0 ]
) || fail "without a fixed clock"
cmp -s to/again/manifest-sha256.txt to3/again/manifest-sha256.txt ||
	fail "the manifest depends on the time"
diff <(tail -n +2 to/again/record.jsonl) <(tail -n +2 to3/again/record.jsonl) >/dev/null ||
	fail "the record depends on the time"

# Identical files: tar stores them as links, zip (when asked) once, folder each.
for how in once each; do
	for format in zip tar folder; do
		expect 0 "$format $how" "$COLDLIFT" extract --quiet --to to2 --name "$format-$how" \
			--format $format --same $how --leave '\Archive\**' --leave '\Survey\**' "$data"
		if [ "$how" = each ]; then
			[ "$(grep -c '"state":"same"' "to2/$format-$how/record.jsonl")" -le 2 ] ||
				fail "$format $how: stored once all the same"
		elif ! grep -q '"state":"same".*"same_as"' "to2/$format-$how/record.jsonl"; then
			fail "$format $how: nothing is stored once"
		fi
	done
	(cd to2/folder-$how/folder-$how-files && sha256sum -c --quiet --strict ../SHA256SUMS) \
		>/dev/null || fail "folder $how: SHA256SUMS"
	for format in zip tar; do
		mkdir -p "un-$format-$how"
		for part in to2/$format-$how/$format-$how-drive*.$format; do
			case $format in
			zip) unzip -qq -o "$part" -d "un-$format-$how" ;;
			tar) tar -xf "$part" -C "un-$format-$how" ;; # GNU tar
			esac || fail "$format $how: unpacking"
		done
		(cd "un-$format-$how" && sha256sum -c --quiet --strict \
			"../to2/$format-$how/SHA256SUMS") >/dev/null || fail "$format $how: SHA256SUMS"
	done
done
cmp -s to2/zip-each/SHA256SUMS to2/tar-once/SHA256SUMS || fail "zip and tar hold different files"

# The default name is made of the volume's label or the old PC's name and the date.
expect 0 "default name" "$COLDLIFT" extract --quiet --to to3 --leave '\Archive\**' \
	--leave '\Survey\**' "$data"
ls to3 | grep -q -- '-2026-07-01$' || fail "default name: $(ls to3)"

# --- asked to stop ---
"$COLDLIFT" extract --quiet --to to3 --name stopped "$data" >out 2>err &
pid=$!
for _ in $(seq 1200); do
	[ -e to3/stopped/journal ] && break
	sleep 0.05
done
kill -TERM $pid
wait $pid
[ $? -eq 5 ] || fail "stopping: wrong status"
[ -e to3/stopped/journal ] || fail "stopping: no journal"
ls to3/stopped/*.unfinished >/dev/null 2>&1 && fail "stopping: half a part is left"
one_sentence "stopping"

# --- a destination that takes no more ---
(ulimit -f 300; exec "$COLDLIFT" extract --quiet --to to3 --name full "$system" "$data") >out 2>err
[ $? -eq 4 ] || fail "full: wrong status: $(head -c 300 err)"
[ -e to3/full/journal ] || fail "full: no journal"
ls to3/full/*.unfinished >/dev/null 2>&1 && fail "full: half a part is left"
one_sentence "full"

[ $failures -eq 0 ] || exit 1
echo "all options do what the help says"
