# Shared by run and campaign; sourced, not run.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# No C compiler unless a stage asks for one. Version stamps need a whole git
# checkout of one's own, which a build machine need not have.
export CGO_ENABLED=0
export GOFLAGS="${GOFLAGS:-} -buildvcs=false"

failed=()

# stage NAME COMMAND...: one step, with its time. A failure is noted and the
# next stage still runs, so that one look shows all of them.
stage() {
	local name=$1 start=$SECONDS rc
	shift
	printf '\n== %s\n' "$name"
	set +e
	(
		set -e
		"$@"
	)
	rc=$?
	set -e
	if ((rc != 0)); then
		failed+=("$name")
		printf '== %s: FAILED after %d s\n' "$name" $((SECONDS - start))
	else
		printf '== %s: well, %d s\n' "$name" $((SECONDS - start))
	fi
}

# finish says how it went, and ends the script with the right status.
finish() {
	printf '\n%d s in all\n' "$SECONDS"
	if ((${#failed[@]} > 0)); then
		printf 'failed: %s\n' "${failed[@]}"
		exit 1
	fi
	echo 'all is well'
}

# tests LOG ARG...: go test. Shown are the packages, what failed tests said, and
# how many tests were skipped.
tests() {
	local log=$work/$1.json rc
	shift
	set +e
	go test -json -count=1 "$@" >"$log" 2>"$log.err"
	rc=$?
	set -e
	cat "$log.err"
	told "$log"
	return "$rc"
}

# told reads the lines of go test -json: once to learn which tests failed, once
# to show what these said.
told() {
	awk '
	function field(name,    s) {
		if (!match($0, "\"" name "\":\"(\\\\.|[^\"\\\\])*\"")) return ""
		s = substr($0, RSTART + length(name) + 4, RLENGTH - length(name) - 5)
		gsub(/\\\\/, "\001", s) # set aside, so that \\n is no line end
		gsub(/\\u003c/, "<", s); gsub(/\\u003e/, ">", s); gsub(/\\u0026/, "\\&", s)
		gsub(/\\n/, "\n", s); gsub(/\\t/, "\t", s); gsub(/\\"/, "\"", s)
		gsub(/\001/, "\\", s)
		return s
	}
	{ action = field("Action"); package = field("Package"); test = field("Test") }
	NR == FNR {
		if (action == "fail") bad[package, test] = 1
		if (test == "" || action !~ /^(pass|fail|skip)$/) next
		count[action]++
		if (action == "skip") skipped[package]++
		next
	}
	action == "build-output" || action == "output" && (package, test) in bad {
		out = field("Output")
		if (length(out) > 500) out = substr(out, 1, 500) "…\n"
		if (out !~ /^=== /) printf "%s", out
		next
	}
	action == "output" && test == "" && field("Output") ~ /^ok / { printf "%s", field("Output") }
	END {
		printf "passed: %d  failed: %d  skipped: %d\n", count["pass"], count["fail"], count["skip"]
		for (p in skipped) printf "  skipped in %s: %d\n", p, skipped[p]
	}' "$1" "$1"
}

# fuzz TIME: every fuzz target in turn, each package built once. Inputs that fail
# are kept beside the test, in testdata/fuzz.
fuzz() {
	local time=$1 targets file name folder built='' n=0 bad=0 log=$work/fuzz.log
	targets=$(grep -rnoE --include='*_test.go' '^func Fuzz[A-Za-z0-9_]*' . | sed -E 's/:[0-9]+:func / /' | sort)
	while read -r file name; do
		[[ -n $name ]] || continue
		n=$((n + 1))
		folder=$(dirname "$file")
		printf '%s in %s: ' "$name" "$folder"
		if [[ $folder != "$built" ]]; then
			go test -c -fuzz="^$name\$" -o "$work/fuzz.test" "$folder"
			built=$folder
		fi
		# Up to Go 1.26 the fuzzer now and then reports the end of its own time
		# as a failure (golang.org/issue/75804): then, and only then, once more.
		if fuzz_one "$time" "$name" "$folder" >"$log" 2>&1 ||
			{ late "$log" && fuzz_one "$time" "$name" "$folder" >"$log" 2>&1; }; then
			grep -E '^fuzz: elapsed' "$log" | tail -n 1 || echo 'done'
		else
			bad=$((bad + 1))
			echo 'FAILED'
			cat "$log"
		fi
	done <<<"$targets"
	echo "$n fuzz targets, $bad failed"
	((n > 0 && bad == 0))
}

late() { grep -q 'context deadline exceeded' "$1" && ! grep -q 'Failing input written' "$1"; }

fuzz_one() (
	cd "$3"
	"$work/fuzz.test" -test.run='^$' -test.fuzz="^$2\$" -test.fuzztime="$1" -test.fuzzminimizetime=1x -test.fuzzcachedir="$work/fuzz"
)

# campaigns HOW LIMIT: the long studies, as a seeded sample or in full. That there
# are none is a failure.
campaigns() {
	local log=$work/campaign.log rc
	set +e
	DUTYBENCH_CAMPAIGN=$1 go test ./bench/trial/... -run Campaign -v -count=1 -timeout "$2" 2>&1 | tee "$log" | grep -v '^=== '
	rc=${PIPESTATUS[0]}
	set -e
	((rc == 0)) || return "$rc"
	if ! grep -qE '^--- PASS: Test[A-Za-z0-9_]*Campaign' "$log"; then
		echo 'no campaign ran: bench/trial has no test with Campaign in its name, or all of them were skipped'
		return 1
	fi
}

# fetch COMMAND PACKAGE...: Debian's packages, where the command is missing.
fetch() {
	if command -v "$1" >/dev/null; then
		return 0
	fi
	shift
	local as=()
	if ((EUID != 0)); then
		as=(sudo)
	fi
	"${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get update -qq
	"${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@"
}

# compiler makes sure that there is a C compiler, which the race detector needs.
compiler() { command -v cc >/dev/null || fetch gcc gcc libc6-dev; }

# checkers makes sure of the independent readers of PDF and HTML; without them
# the tests of reports skip what they look at.
checkers() {
	fetch qpdf qpdf
	fetch tidy tidy
	fetch pdftotext poppler-utils
}

# need_go ends the script when there is no Go of the right version to be had.
need_go() {
	if ! command -v go >/dev/null; then
		echo 'there is no go command: install Go 1.26 or later (https://go.dev/dl) and put it on the PATH' >&2
		exit 1
	fi
	go version
}
