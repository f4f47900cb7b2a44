//go:build unix

package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// phone is a real calendar client: vdirsyncer fetches a subscription into a
// folder, khal shows it.
type phone struct {
	t   *testing.T
	dir string
}

func subscribe(t *testing.T, url string) phone {
	t.Helper()
	const why = "no calendar client ever reads a feed"
	needs(t, "vdirsyncer", why)
	needs(t, "khal", why)
	p := phone{t, t.TempDir()}
	require.NoError(t, os.Mkdir(filepath.Join(p.dir, "cal"), 0o700))
	p.write("vdirsyncer.conf", fmt.Sprintf(`[general]
status_path = "%[1]s/status/"
[pair feed]
a = "remote"
b = "local"
collections = null
conflict_resolution = "a wins"
[storage remote]
type = "http"
url = "%[2]s"
read_only = true
[storage local]
type = "filesystem"
path = "%[1]s/cal/"
fileext = ".ics"
`, p.dir, url))
	p.write("khal.conf", fmt.Sprintf(`[calendars]
[[feed]]
path = %s/cal/
readonly = True
[locale]
timeformat = %%H:%%M
dateformat = %%Y-%%m-%%d
longdateformat = %%Y-%%m-%%d
datetimeformat = %%Y-%%m-%%d %%H:%%M
longdatetimeformat = %%Y-%%m-%%d %%H:%%M
local_timezone = %[2]s
default_timezone = %[2]s
`, p.dir, demoZone))
	p.run("vdirsyncer", "-c", "vdirsyncer.conf", "discover")
	return p
}

func (p phone) write(name, text string) {
	p.t.Helper()
	require.NoError(p.t, os.WriteFile(filepath.Join(p.dir, name), []byte(text), 0o600))
}

func (p phone) run(name string, args ...string) string {
	p.t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = p.dir
	cmd.Env = append(os.Environ(), "HOME="+p.dir, "XDG_CONFIG_HOME="+p.dir, "XDG_DATA_HOME="+p.dir+"/data", "XDG_CACHE_HOME="+p.dir+"/cache", "LC_ALL=C.UTF-8")
	out, err := cmd.CombinedOutput()
	require.NoError(p.t, err, "%s %v\n%s", name, args, out)
	return string(out)
}

// sync fetches the feed and counts what changed.
func (p phone) sync() int {
	p.t.Helper()
	out := strings.ToLower(p.run("vdirsyncer", "-c", "vdirsyncer.conf", "sync"))
	require.NotContains(p.t, out, "error")
	return strings.Count(out, "copying") + strings.Count(out, "deleting") + strings.Count(out, "updating")
}

// day lists what khal shows on the day of at, one event a line.
func (p phone) day(at time.Time) string {
	p.t.Helper()
	out := p.run("khal", "-c", "khal.conf", "list", "--format", "{start-end-time-style} {title} [{status}]{location}", at.Format(time.DateOnly), "1d")
	for _, bad := range []string{"error", "could not", "skipping", "traceback"} {
		require.NotContains(p.t, strings.ToLower(out), bad)
	}
	return out
}

func TestARealCalendarClientShowsWhatWasBooked(t *testing.T) {
	d := startDemo(t, furnished(t))
	bash := needs(t, "bash", "the printed tour is never tried")
	needs(t, "curl", "the printed tour is never tried")
	feed := strings.Fields(d.tour[3].command)
	p := subscribe(t, feed[len(feed)-1])
	require.Positive(t, p.sync(), "the days that the demo has filled")
	require.Zero(t, p.sync(), "a second fetch changes nothing")

	visit := bookTour(t, d, bash)
	loc, err := time.LoadLocation(demoZone)
	require.NoError(t, err)
	start := visit.Start.In(loc)
	before := p.day(start)
	require.Positive(t, p.sync(), "the new visit")
	after := p.day(start)
	require.NotEqual(t, before, after)
	require.Contains(t, after, start.Format("15:04")+"-", "khal shows:\n%s", after)
	require.Regexp(t, `(?i)consultation · L\. H\. \[CONFIRMED \]Chair`, after)
	require.Contains(t, after, "Watching, checks ", "khal shows:\n%s", after)
	require.NotContains(t, after, "Lena", "a feed carries initials")
	require.Zero(t, p.sync())
	t.Logf("khal shows:\n%s", after)
	d.endBy(t, syscall.SIGINT)
}
