#!/usr/bin/env bash
# A destination that lies in memory: a ramfs has no end and is refused, a tmpfs is taken with a caution.
#
# Source: tmpfs(5), and Documentation/filesystems/ramfs-rootfs-initramfs.rst of the Linux kernel ("What is
# ramfs?": it grows until memory is full). Needs root, to mount; otherwise skipped.
set -euo pipefail

if [[ ${1:-} != inside ]]; then
	if [[ $(id -u) -ne 0 ]] || ! unshare -m true 2>/dev/null; then
		echo "mounting needs root"
		exit 77
	fi
	exec unshare -m "$0" inside
fi

work=$(mktemp -d)
trap 'umount "$work/ramfs" "$work/tmpfs" 2>/dev/null; rm -rf "$work"' EXIT
mkdir "$work/ramfs" "$work/tmpfs"
mount -t ramfs none "$work/ramfs"
mount -t tmpfs -o size=100m none "$work/tmpfs"

status=0
"$COLDLIFT" extract --quiet --to "$work/ramfs" "$COLDLIFT_DEMO/old-system.img" 2>"$work/said" || status=$?
[[ $status -eq 4 ]] || { echo "a ramfs: exit status $status, not 4"; exit 1; }
grep -q "memory" "$work/said" || { echo "a ramfs: memory is not named:"; cat "$work/said"; exit 1; }
[[ -z $(ls -A "$work/ramfs") ]] || { echo "a ramfs: something was written"; exit 1; }

status=0
"$COLDLIFT" extract --quiet --to "$work/tmpfs" --name job "$COLDLIFT_DEMO/old-system.img" || status=$?
[[ $status -le 1 ]] || { echo "a tmpfs: exit status $status"; exit 1; }
jq -e '.[] | select(.code == "destination-in-memory" and .weight == "caution")' \
	"$work/tmpfs/job/findings.json" >/dev/null || { echo "a tmpfs: no caution"; exit 1; }
