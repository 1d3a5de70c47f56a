#!/usr/bin/env bash
# Bad input: one clear sentence on standard error, the right exit status, nothing half-written left
# unmarked. Independent tools make the damage: sfdisk, ntfsinfo, ntfscluster, losetup, mount.
. "$(dirname "$0")/_common.sh"
need_demo

is_root() { (($(id -u) == 0)); }

# What stands at the destination must say that it is not complete: no job at all, or one with a journal.
check_left_over() { # LABEL FOLDER
	local job
	[[ -d $2 ]] || return 0
	for job in "$2"/*; do
		[[ -e $job ]] || continue
		[[ -e $job/journal || $job == *.unfinished ]] ||
		    fail "$1: '$job' was left at the destination and does not say that it is unfinished"
		"$COLDLIFT" verify --quiet "$job" 2>/dev/null
		[[ $? -eq 5 ]] || fail "$1: verify passes what was left"
	done
}

# Runs the program and looks at status and sentence.
expect() { # LABEL STATUS WORDS COMMAND...
	local label=$1 wanted=$2 words=$3 status sentence
	shift 3
	"$@" >"$work/out" 2>"$work/err" </dev/null
	status=$?
	[[ $status -eq $wanted ]] || fail "$label: status $status, not $wanted: $(head -c 600 "$work/err")"
	# One sentence, wrapped: the lines after the first are indented.
	sentence=$(tr '\n' ' ' <"$work/err" | tr -s ' ')
	[[ $(grep -c '^coldlift: ' "$work/err") -eq 1 ]] || fail "$label: not one sentence: $sentence"
	[[ $sentence =~ $words ]] || fail "$label: does not say '$words': $sentence"
	[[ $sentence == *. || $sentence == *'. ' ]] || fail "$label: no full stop: $sentence"
	awk 'length > 200 { exit 1 }' "$work/err" || fail "$label: not wrapped"
	! grep -qiE 'sanitizer|assert|backtrace' "$work/err" || fail "$label: $sentence"
}

# The same for survey and extract, since both read the source.
expect_source() { # LABEL STATUS WORDS SOURCE...
	local label=$1 wanted=$2 words=$3
	shift 3
	expect "survey, $label" "$wanted" "$words" "$COLDLIFT" survey "$@"
	rm -rf to
	mkdir to
	expect "extract, $label" "$wanted" "$words" "$COLDLIFT" extract --to to --name job "$@"
	check_left_over "$label" to
}

# --- sources ---

head -c 3000000 /dev/urandom >noise.img
expect_source "not a drive" 3 "no NTFS volume" noise.img

: >empty.img
expect_source "an empty file" 3 "empty" empty.img

head -c 100 "$system_image" >tiny.img
expect_source "a file smaller than a sector" 3 "no NTFS volume" tiny.img

mkdir folder
expect_source "a directory" 3 "folder" folder

expect_source "nothing there" 3 "nowhere.img" nowhere.img

mkfifo pipe
expect_source "a pipe" 3 "pipe" pipe

expect_source "not a drive beside a good one" 3 "nowhere.img" "$data_image" nowhere.img

# Cut in the middle of the table of files: the volume says so, and what is there is still seen.
head -c 2000000 "$data_image" >stub.img
"$COLDLIFT" survey stub.img >out 2>err
status=$?
[[ $status -eq 3 || $status -eq 0 ]] || fail "a stub of an image: status $status: $(<err)"
[[ -s err || $(cat out) == *"shorter"* || $(cat out) == *"cut"* || $(cat out) == *"end"* ]] ||
    fail "a stub of an image: nothing says that it is cut off"

# Cut behind most of it: finished, with losses or a finding that says that the image is too short.
size=$(stat -c %s "$data_image")
head -c $((size - size / 8)) "$data_image" >short.img
rm -rf to && mkdir to
"$COLDLIFT" extract --to to --name job short.img >out 2>err
status=$?
[[ $status -le 1 || $status -eq 3 ]] || fail "a truncated image: status $status: $(<err)"
if [[ $status -le 1 ]]; then
	jq -e 'if type == "object" then .findings else . end | map(select(.weight != "note")) |
	    length > 0' to/job/findings.json >/dev/null || fail "a truncated image: no finding"
	"$COLDLIFT" verify --quiet to/job 2>err
	[[ $? -le 1 ]] || fail "a truncated image: verify: $(<err)"
else
	check_left_over "a truncated image" to
fi

if is_root && command -v setpriv >/dev/null; then
	cp --sparse=always "$data_image" private.img
	chmod 600 private.img
	chmod 755 "$work"
	cp "$COLDLIFT" ./coldlift-here
	if setpriv --reuid=65534 --regid=65534 --clear-groups ./coldlift-here --version >/dev/null 2>&1
	then
		expect "survey, no permission" 3 "ermission|may not" setpriv --reuid=65534 --regid=65534 \
		    --clear-groups ./coldlift-here survey private.img
	else
		echo "(no permission: skipped, the folder of work is closed to others)"
	fi
else
	echo "(no permission: skipped, needs root to become nobody)"
fi

# --- a single volume, tables, hives ---

start_of() { sfdisk -J "$1" | jq ".partitiontable.partitions[$2].start"; }
sectors_of() { sfdisk -J "$1" | jq ".partitiontable.partitions[$2].size"; }

# The number of the largest partition: the old system's volume.
largest() { sfdisk -J "$1" | jq '.partitiontable.partitions | to_entries | max_by(.value.size).key'; }

n=$(largest "$system_image")
start=$(start_of "$system_image" "$n") sectors=$(sectors_of "$system_image" "$n")
dd if="$system_image" of=volume.img bs=512 skip="$start" count="$sectors" conv=sparse status=none
truncate -s $((sectors * 512)) volume.img
"$COLDLIFT" survey --json volume.img >out 2>err || fail "a single volume: status $?: $(<err)"
jq -e '.systems | length == 1' out >/dev/null || fail "a single volume: no old system"
rm -rf to && mkdir to
"$COLDLIFT" extract --to to --name job --format folder volume.img >out 2>err
[[ $? -eq 1 ]] || fail "a single volume: extract: $(<err)"
"$COLDLIFT" verify --quiet to/job || fail_status=$?
[[ ${fail_status:-0} -le 1 ]] || fail "a single volume: verify"

# The first GPT is gone; its copy at the end is used, and a finding says so (UEFI specification, 5.3.2).
cp --sparse=always "$system_image" broken-gpt.img
dd if=/dev/zero of=broken-gpt.img bs=512 seek=1 count=1 conv=notrunc status=none
"$COLDLIFT" survey --json broken-gpt.img >out 2>err || fail "a broken main GPT: status $?: $(<err)"
jq -e '.systems | length == 1' out >/dev/null || fail "a broken main GPT: no old system"
jq -e '.findings | map(select(.sentence | test("copy|backup|second"; "i"))) | length > 0' out \
    >/dev/null || fail "a broken main GPT: no finding"

# Both tables are gone.
size=$(stat -c %s broken-gpt.img)
dd if=/dev/zero of=broken-gpt.img bs=512 seek=$((size / 512 - 34)) count=34 conv=notrunc status=none
"$COLDLIFT" survey broken-gpt.img >out 2>err
status=$?
[[ $status -eq 3 || $status -eq 0 ]] || fail "no GPT at all: status $status"

# A hive of zeros: ntfscluster (ntfs-3g) says where it lies.
zero_file() { # IMAGE PATH-IN-VOLUME
	local image=$1 cluster vcn first length rest
	dd if="$image" of=volume.img bs=512 skip="$start" count="$sectors" conv=sparse status=none
	cluster=$(ntfsinfo -m -f volume.img | sed -n 's/.*Cluster Size: \([0-9]*\).*/\1/p')
	# Behind the line of attribute 0x80: "VCN LCN LENGTH", one line per run.
	ntfscluster -f -F "$2" volume.img 2>/dev/null |
	    sed -n '/0x80 - non-resident/,/0x[^8]0 - /p' | grep -E '^ *[0-9]+ +[0-9]+ +[0-9]+ *$' >runs
	[[ -s runs ]] || return 1
	while read -r vcn first length rest; do
		dd if=/dev/zero of="$image" bs="$cluster" conv=notrunc status=none \
		    seek=$((start * 512 / cluster + first)) count="$length"
	done <runs
}
cp --sparse=always "$system_image" zeros.img
if zero_file zeros.img "Windows/System32/config/SOFTWARE"; then
	"$COLDLIFT" survey --json zeros.img >out 2>err || fail "a hive of zeros: status $?: $(<err)"
	jq -e '.systems | length == 1' out >/dev/null || fail "a hive of zeros: no old system"
	jq -e '.findings | map(select((.sentence + .subject | test("SOFTWARE")) and .weight != "note")) |
	    length > 0' out >/dev/null || fail "a hive of zeros: no finding"
	rm -rf to && mkdir to
	"$COLDLIFT" extract --to to --name job --quiet --format folder --leave 'D:\Survey\**' \
	    zeros.img "$data_image" 2>err
	[[ $? -le 1 ]] || fail "a hive of zeros: extract: $(<err)"
	"$COLDLIFT" verify --quiet to/job
	[[ $? -le 1 ]] || fail "a hive of zeros: verify"
	# The persons' own hives are whole: their places are known, and their files arrive.
	jq -es 'any(.volume == "D:" and .place == "pictures" and .state == "taken" and
	    (.path | startswith("\\Pictures\\")))' to/job/record.jsonl >/dev/null ||
	    fail "a hive of zeros: the redirected pictures are not in the record"
else
	fail "a hive of zeros: ntfscluster does not say where the hive lies"
fi

# --- destinations ---

expect "no destination" 2 "--to" "$COLDLIFT" extract "$data_image"
expect "a destination that is not there" 4 "not there|No such" \
    "$COLDLIFT" extract --to "$work/nowhere" "$data_image"
expect "a destination that is a file" 4 "empty.img" \
    "$COLDLIFT" extract --to "$work/empty.img" "$data_image"

for name in ../escape .. . a/b 'a\b' .hidden '' -dash 'nul:' "$(printf 'line\nbreak')"; do
	rm -rf to && mkdir to
	expect "the name '$name'" 2 "name" \
	    "$COLDLIFT" extract --to to --name="$name" "$data_image"
	[[ -z $(ls -A to) && ! -e escape ]] || fail "the name '$name': something was written"
done

rm -rf to && mkdir -p to/job && echo mine >to/job/keep
expect "a name that is taken" 4 "already" "$COLDLIFT" extract --to to --name job "$data_image"
[[ $(ls to/job) == keep ]] || fail "a name that is taken: the folder was changed"

# A file may not grow beyond 40 kB: like a destination that becomes full in the middle.
rm -rf to && mkdir to
expect "a destination that becomes full" 4 "to" \
    bash -c 'trap "" XFSZ; ulimit -f 40; exec "$0" extract --to to --name job "$@"' \
    "$COLDLIFT" "$system_image" "$data_image" 2>/dev/null
# The line that names the incomplete job stands beside the sentence.
check_left_over "a destination that becomes full" to

mounts=
if is_root && mkdir tmpfs && mount -t tmpfs -o size=400k,mode=700 none tmpfs 2>/dev/null; then
	mounts=yes
	undo_later "umount '$work/tmpfs'"
	expect "a destination that is too small" 4 "too small|full|space|room" \
	    "$COLDLIFT" extract --to tmpfs --name job "$system_image" "$data_image"
	check_left_over "a destination that is too small" tmpfs
	mount -o remount,ro tmpfs
	expect "a read-only destination" 4 "read" "$COLDLIFT" extract --to tmpfs --name other "$data_image"
	[[ ! -e tmpfs/other ]] || fail "a read-only destination: something was written"
else
	echo "(full and read-only destination: skipped, mounting is not permitted)"
fi

# --- sources in use ---

# A loop device for a file, its name in $loop. Partition nodes are made by hand where nothing makes them.
attach() { # FILE
	local node
	loop=$(losetup --find --show --partscan "$1" 2>/dev/null) || return 1
	undo_later "losetup -d '$loop'"
	blockdev --setrw "$loop" # a program that was killed may have left the device read-only
	for node in /sys/class/block/"${loop##*/}"p*; do
		[[ -e $node && ! -e /dev/${node##*/} ]] || continue
		mknod "/dev/${node##*/}" b $(tr : ' ' <"$node/dev") 2>/dev/null &&
		    undo_later "rm -f '/dev/${node##*/}'"
	done
}

# One drive with two partitions: the old volume, and an ext4 volume where a job could be written.
make_shared_drive() {
	local first sectors
	first=$(start_of "$data_image" 0) sectors=$(sectors_of "$data_image" 0)
	cp --sparse=always "$data_image" shared.img
	truncate -s +32M shared.img
	echo "start=$((first + sectors)), type=83" | sfdisk -q --append shared.img 2>/dev/null || return 1
	truncate -s 24M ext.img
	mkfs.ext4 -q -F ext.img 2>/dev/null || return 1
	dd if=ext.img of=shared.img bs=512 seek=$((first + sectors)) conv=notrunc,sparse status=none
}

if [[ $mounts ]] && command -v mkfs.ext4 >/dev/null && make_shared_drive && attach shared.img; then
	mkdir mnt
	if [[ -e ${loop}p2 ]] && mount "${loop}p2" mnt 2>/dev/null; then
		undo_later "umount '$work/mnt'"
		expect "a destination on a source drive" 4 "drive" \
		    "$COLDLIFT" extract --to mnt --name job "${loop}p1"
		[[ ! -e mnt/job ]] || fail "a destination on a source drive: something was written"
		expect "a source with a mounted partition" 3 "mounted" "$COLDLIFT" survey "$loop"
		expect "an image in use" 3 "mounted|use" "$COLDLIFT" survey shared.img
	else
		echo "(destination on a source drive: skipped, this kernel makes no partition nodes)"
	fi
else
	echo "(destination on a source drive: skipped, no loop device or ext4)"
fi

# ext.img was made above, by itself an ext4 volume.
if [[ $mounts && -s ext.img ]] && attach ext.img && mkdir mounted && mount "$loop" mounted 2>/dev/null
then
	undo_later "umount '$work/mounted'"
	expect "a mounted source" 3 "mounted" "$COLDLIFT" survey "$loop"
	expect "an image that is mounted" 3 "mounted" "$COLDLIFT" survey ext.img
	expect "extract, a mounted source" 3 "mounted" "$COLDLIFT" extract --to to "$loop"
else
	echo "(mounted source: skipped, no loop device or ext4)"
fi

# A loop device in nobody's use is read like any drive, and is as writable afterwards as before.
if is_root && cp --sparse=always "$data_image" free.img && attach free.img; then
	"$COLDLIFT" survey --quiet "$loop" 2>err || fail "a loop device: status $?: $(<err)"
	[[ $(blockdev --getro "$loop") == 0 ]] || fail "a loop device: left read-only"
fi

finish
