package read

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
)

// debianSources names the variable that also fetches the sources of calendar
// programs from Debian, which takes some seconds and needs its mirror.
const debianSources = "CHAIRBLOCK_TEST_DEBIAN_SOURCES"

// Modules of other calendar readers, whose tests hold files of real programs.
var readers = []string{"github.com/arran4/golang-ical@v0.3.4", "github.com/emersion/go-ical@v0.0.0-20250609112844-439c63cef608"}

// Packages of Debian with calendar files in their tests. A mirror may have lost
// some of them.
var sources = []string{"libical3", "evolution-data-server", "python-icalendar", "khal", "php-sabre-vobject", "ruby-icalendar", "python-recurring-ical-events"}

// corpus is the files of one origin.
type corpus struct {
	name  string
	paths []string
}

// calendarFiles lists the calendar files below dir, those of whole zone
// databases left out.
func calendarFiles(t *testing.T, dir string) []string {
	t.Helper()
	var paths []string
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && strings.Contains(filepath.Base(path), ".ics") && !strings.Contains(path, "/zoneinfo/") {
			paths = append(paths, path)
		}
		return err
	}))
	return paths
}

// moduleFiles fetches a Go module and lists its calendar files.
func moduleFiles(t *testing.T, module string) ([]string, error) {
	t.Helper()
	cmd := exec.Command("go", "mod", "download", "-json", module)
	cmd.Dir = t.TempDir() // outside of our module, whose files must not change
	out, err := cmd.Output()
	var answer struct{ Dir, Error string }
	if e := json.Unmarshal(out, &answer); e != nil || answer.Dir == "" {
		return nil, fmt.Errorf("go mod download %s: %w", module, errors.Join(err, e, errors.New(answer.Error)))
	}
	return calendarFiles(t, answer.Dir), nil
}

// debianFiles fetches the sources of packages with the machine's own apt,
// without touching its lists, and lists their calendar files.
func debianFiles(t *testing.T) []corpus {
	t.Helper()
	dir := t.TempDir()
	for _, sub := range []string{"parts", "lists/partial", "cache/archives/partial"} {
		require.NoError(t, os.MkdirAll(filepath.Join(dir, sub), 0o755))
	}
	lists, err := filepath.Glob("/etc/apt/sources.list.d/debian.sources")
	require.NoError(t, err)
	if len(lists) == 0 {
		t.Log("SKIPPED: no list of Debian sources here")
		return nil
	}
	raw, err := os.ReadFile(lists[0])
	require.NoError(t, err)
	raw = bytes.ReplaceAll(raw, []byte("Types: deb\n"), []byte("Types: deb-src\n"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "parts/own.sources"), raw, 0o600))
	apt := func(sub string, args ...string) error {
		cmd := exec.Command("apt-get", append([]string{"-q", "-o", "Dir::Etc::SourceList=/dev/null", "-o", "Dir::Etc::SourceParts=" + dir + "/parts",
			"-o", "Dir::State::Lists=" + dir + "/lists", "-o", "Dir::Cache=" + dir + "/cache", "-o", "APT::Sandbox::User=root"}, args...)...)
		cmd.Dir = filepath.Join(dir, sub)
		return cmd.Run()
	}
	if err := apt("", "update"); err != nil {
		t.Logf("SKIPPED: Debian's sources: apt-get update: %v", err)
		return nil
	}
	var all []corpus
	for _, name := range sources {
		require.NoError(t, os.Mkdir(filepath.Join(dir, name), 0o755))
		err := apt(name, "source", "--download-only", name)
		tarballs, _ := filepath.Glob(filepath.Join(dir, name, "*.orig.tar.*"))
		if len(tarballs) == 0 {
			t.Logf("SKIPPED: Debian's source of %s: %v", name, err)
			continue
		}
		require.NoError(t, exec.Command("tar", "-C", filepath.Join(dir, name), "--wildcards", "-xaf", tarballs[0], "*").Run())
		all = append(all, corpus{"Debian " + name, calendarFiles(t, filepath.Join(dir, name))})
	}
	return all
}

// outcome is what a reader made of one file.
type outcome struct {
	Read   bool
	Events int // whose start was understood
	Crash  string
}

const pythonReader = `
import json, sys, icalendar
out = []
for path in json.load(sys.stdin):
    try:
        events, calendars = 0, icalendar.Calendar.from_ical(open(path, "rb").read(), multiple=True)
        for c in calendars:
            for e in c.walk("VEVENT"):
                try:
                    e.decoded("DTSTART"); events += 1
                except Exception: pass
        out.append({"Read": bool(calendars), "Events": events})
    except Exception: out.append({"Read": False})
json.dump(out, sys.stdout)
`

// readByPython reads files with Debian's icalendar. It also returns the files
// of that library's own tests.
func readByPython(t *testing.T, program string, paths []string) []outcome {
	t.Helper()
	list, err := json.Marshal(paths)
	require.NoError(t, err)
	cmd := exec.Command(program, "-c", pythonReader)
	cmd.Stdin = bytes.NewReader(list)
	out, err := cmd.Output()
	require.NoError(t, err)
	var outcomes []outcome
	require.NoError(t, json.Unmarshal(out, &outcomes))
	return outcomes
}

func pythonWithIcalendar(t *testing.T) (program string, paths []string) {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		out, err := exec.Command(name, "-c", "import icalendar; print(icalendar.__path__[0])").Output()
		if err == nil {
			return name, calendarFiles(t, strings.TrimSpace(string(out)))
		}
	}
	require.NotEqual(t, "true", os.Getenv("CI"), "CI needs Debian's python3-icalendar")
	return "", nil
}

// guarded runs one reader on one file and catches its panics.
func guarded(use func() (int, error)) (o outcome) {
	defer func() {
		if p := recover(); p != nil {
			o = outcome{Crash: fmt.Sprint(p)}
		}
	}()
	n, err := use()
	return outcome{Read: err == nil, Events: n}
}

func readByUs(raw []byte) (int, []Problem, error) {
	c, problems, err := Parse(bytes.NewReader(raw), Options{Zone: time.UTC, AllDayBusy: true})
	if err != nil {
		return 0, nil, err
	}
	n := 0
	for _, e := range c.Events {
		if !e.Start.IsZero() {
			n++
		}
	}
	_, more := c.Busy(time.Date(1995, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC))
	return n, append(problems, more...), nil
}

func readByGoIcal(raw []byte) (int, error) {
	c, err := ical.NewDecoder(bytes.NewReader(raw)).Decode()
	if err != nil {
		return 0, err
	}
	n := 0
	for _, e := range c.Events() {
		if _, err := e.DateTimeStart(time.UTC); err == nil && e.Props.Get("DTSTART") != nil {
			n++
		}
	}
	return n, nil
}

func TestFilesOfOtherReadersTestsAreReadAtLeastAsWell(t *testing.T) {
	program, own := pythonWithIcalendar(t)
	all := []corpus{{"python3-icalendar", own}}
	for _, module := range readers {
		paths, err := moduleFiles(t, module)
		if err != nil {
			require.NotEqual(t, "true", os.Getenv("CI"), "CI needs the module: %v", err)
			t.Logf("SKIPPED: %v", err)
		}
		all = append(all, corpus{module, paths})
	}
	if os.Getenv(debianSources) != "" {
		all = append(all, debianFiles(t)...)
	}
	var ours, pythons, gos, events [4]int // files, read, crashes, events
	for _, c := range all {
		if len(c.paths) == 0 {
			continue
		}
		var python []outcome
		if program != "" {
			python = readByPython(t, program, c.paths)
		}
		for i, path := range c.paths {
			raw, err := os.ReadFile(path)
			require.NoError(t, err)
			var problems []Problem
			us := guarded(func() (n int, err error) { n, problems, err = readByUs(raw); return n, err })
			goIcal := guarded(func() (int, error) { return readByGoIcal(raw) })
			var py outcome
			if python != nil {
				py = python[i]
			}
			count(&ours, us)
			count(&pythons, py)
			count(&gos, goIcal)
			name := filepath.Base(path)
			events[0] += strings.Count(strings.ToUpper(string(raw)), "BEGIN:VEVENT")
			require.Empty(t, us.Crash, name)
			if !us.Read || us.Events < max(py.Events, goIcal.Events) || len(problems) > 0 {
				t.Logf("%s: we %v %d, python %v %d, go-ical %v %d; %.400s", name, us.Read, us.Events, py.Read, py.Events, goIcal.Read, goIcal.Events, strings.ReplaceAll(what(problems), "\n", "; "))
			}
			require.True(t, us.Read || !py.Read && !goIcal.Read, "%s is read by others", path)
			require.GreaterOrEqual(t, us.Events, max(py.Events, goIcal.Events), path)
		}
		t.Logf("%-40s %4d files", c.name, len(c.paths))
	}
	if ours[0] == 0 {
		t.Skip("SKIPPED: no file could be fetched")
	}
	t.Logf("%-20s %6s %6s %8s %8s of %d", "", "files", "read", "crashes", "events", events[0])
	for _, row := range []struct {
		name string
		n    [4]int
	}{{"ours", ours}, {"python icalendar", pythons}, {"go-ical", gos}} {
		t.Logf("%-20s %6d %6d %8d %8d", row.name, row.n[0], row.n[1], row.n[2], row.n[3])
	}
	require.GreaterOrEqual(t, ours[1], slices.Max([]int{pythons[1], gos[1]}))
}

func count(sum *[4]int, o outcome) {
	sum[0]++
	if o.Read {
		sum[1]++
	}
	if o.Crash != "" {
		sum[2]++
	}
	sum[3] += o.Events
}
