# What the whole-run tests in shell share. Source it first; it makes a folder of work and goes there.
set -u
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../.." && pwd)
COLDLIFT_BUILD=${COLDLIFT_BUILD:-$root/build}
COLDLIFT=$(realpath -- "${COLDLIFT:-$COLDLIFT_BUILD/coldlift}")
COLDLIFT_DEMO=${COLDLIFT_DEMO:-$root/build/demo}
system_image=$COLDLIFT_DEMO/old-system.img
data_image=$COLDLIFT_DEMO/old-data.img
failures=0
cleanup=()

work=$(mktemp -d "${TMPDIR:-/tmp}/coldlift-run-XXXXXX")
cd "$work" || exit 1

finish_work() {
	local i
	for ((i = ${#cleanup[@]} - 1; i >= 0; i--)); do
		eval "${cleanup[i]}" >/dev/null 2>&1
	done
	cd /
	chmod -R u+rwX "$work" 2>/dev/null
	rm -rf "$work"
}
trap finish_work EXIT

# Something to be undone at the end, the last first.
undo_later() { cleanup+=("$1"); }

fail() {
	echo "FAILED: $*"
	failures=$((failures + 1))
}

skip() {
	echo "$*"
	exit 77
}

need_demo() {
	[[ -f $system_image && -f $data_image ]] || skip "the demo drives are not there: make demo-drives"
}

finish() {
	((failures == 0)) || echo "$failures checks failed"
	exit $((failures > 0))
}
