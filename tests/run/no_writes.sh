#!/usr/bin/env bash
# Nothing is ever written to a source: every system call of a survey and an extraction is looked at (strace).
#
# Sources may be opened for reading only, and no call that writes, cuts, maps for writing or changes names,
# modes or times may have one as its target. Of a block device the kernel's read-only switch (BLKROSET) is the
# one thing that may be set.
. "$(dirname "$0")/_common.sh"
need_demo
command -v strace >/dev/null || skip "strace is not there"
strace -o /dev/null true 2>/dev/null || skip "strace is not permitted"

cp --sparse=always "$system_image" source-system.img
cp --sparse=always "$data_image" source-data.img

# Calls that only ask or read. Any other call that touches a source is told.
harmless='read|pread64|readv|preadv|preadv2|lseek|close|fstat|newfstatat|fstatat64|stat|lstat|statx|fadvise64'
harmless+='|readlink|readlinkat|access|faccessat|faccessat2|fcntl|statfs|fstatfs|flock|dup|dup2|dup3|execve'
harmless+='|readahead|getxattr|lgetxattr|fgetxattr'

judge() { # LABEL TRACE SOURCE...
	local label=$1 trace=$2 source pattern
	shift 2
	for source; do
		pattern+="${pattern:+|}${source//./\\.}"
	done
	# Lines like: 1234 openat(AT_FDCWD</home/me>, "source.img", O_RDONLY) = 5</home/me/source.img>
	grep -E "$pattern" "$trace" | sed -E 's/^[0-9]+ +//; s/^<\.\.\. ([a-z0-9_]+) resumed>/\1(/' >touching
	[[ -s touching ]] || fail "$label: no call touches a source; the trace is not what it should be"
	grep -E '^(open|openat|openat2|creat)\(' touching >opens
	[[ -s opens ]] || fail "$label: no source was opened"
	if grep -E 'O_WRONLY|O_RDWR|O_CREAT|O_TRUNC|O_APPEND|O_TMPFILE|^creat' opens; then
		fail "$label: a source was opened for more than reading"
	fi
	grep -v -E 'O_RDONLY|ENOENT' opens && fail "$label: a source was opened in an unknown way"
	grep -E '^mmap\(' touching | grep -E 'PROT_WRITE.*MAP_SHARED' &&
	    fail "$label: a source was mapped for writing"
	# A message that names the source is written to standard output or error, not to the source.
	grep -v -E "^($harmless|open|openat|openat2|mmap)\(" touching |
	    grep -v -E '^(write|writev|pwrite64)\([0-9]+<[^>]*>' >others
	grep -E "^(write|writev|pwrite64|pwritev|pwritev2)\([0-9]+<[^>]*($pattern)>" touching &&
	    fail "$label: something was written to a source"
	grep -v -E '^ioctl\([0-9]+<[^>]*>, (BLK[A-Z0-9]*GET[A-Z0-9]*|BLKROGET|BLKROSET|BLKSSZGET|BLKPBSZGET|BLKGETSIZE64|BLKFLSBUF|LOOP_GET_STATUS64|TCGETS|TIOCGWINSZ|HDIO_GETGEO)' \
	    others >unknown
	if [[ -s unknown ]]; then
		head -n 5 unknown
		fail "$label: calls that may change a source"
	fi
}

traced() { # TRACE COMMAND...
	local trace=$1
	shift
	strace -f -y -s 300 -o "$trace" -e trace=%file,%desc,mmap "$@"
}

# A judge that finds nothing wrong with a writer would be no judge.
cp source-data.img written.img
traced writer.trace dd if=/dev/zero of=written.img bs=1 count=1 conv=notrunc status=none
(failures=0 && judge "a writer" writer.trace written.img >/dev/null 2>&1; ((failures > 0))) ||
    fail "a program that writes passes"

hashes() { sha256sum source-system.img source-data.img; stat -c '%s %a %u %g %Y %Z' source-*.img; }
before=$(hashes)

traced survey.trace "$COLDLIFT" survey source-system.img source-data.img >out 2>err ||
    fail "survey: status $?: $(<err)"
judge survey survey.trace source-system.img source-data.img

mkdir to
for format in zip folder; do
	traced extract.trace "$COLDLIFT" extract --to to --name $format --format $format --quiet \
	    --leave 'D:\Survey\**' source-system.img source-data.img >out 2>err
	[[ $? -eq 1 ]] || fail "extract: $(<err)"
	judge "extract as $format" extract.trace source-system.img source-data.img
done
[[ $(hashes) == "$before" ]] || fail "a source has changed"

# The same from a block device.
if (($(id -u) == 0)) && loop=$(losetup --find --show source-data.img 2>/dev/null); then
	undo_later "losetup -d '$loop'"
	blockdev --setrw "$loop" # a program that was killed may have left the device read-only
	traced device.trace "$COLDLIFT" extract --to to --name device --quiet --leave 'D:\Survey\**' \
	    "$loop" >out 2>err
	[[ $? -le 1 ]] || fail "a block device: $(<err)"
	judge "a block device" device.trace "$loop"
	[[ $(hashes) == "$before" ]] || fail "a source has changed through its device"
	grep -q BLKROSET device.trace || fail "a block device is not set read-only while it is read"
	[[ $(blockdev --getro "$loop") == 0 ]] || fail "a block device is left read-only"
else
	echo "(block device: skipped, no loop device)"
fi

finish
