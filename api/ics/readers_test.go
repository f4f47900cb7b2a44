package ics

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// missing skips a test whose program is not installed, which CI must have.
func missing(t *testing.T, what string) {
	t.Helper()
	require.NotEqual(t, "true", os.Getenv("CI"), "CI needs %s", what)
	t.Skipf("SKIPPED: needs %s", what)
}

// readWithPython prints every event as another library understands it, times
// in UTC by that library's own zone data.
const readWithPython = `
import json, sys, datetime as dt
import icalendar
cal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
def utc(v):
    return v.astimezone(dt.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ") if isinstance(v, dt.datetime) else v.isoformat()
out = []
for e in cal.walk("VEVENT"):
    if e.errors: sys.exit(str(e.errors))
    out.append({"uid": e["UID"], "summary": e["SUMMARY"], "description": e.get("DESCRIPTION", ""), "location": e.get("LOCATION", ""),
        "start": utc(e["DTSTART"].dt), "end": utc(e["DTEND"].dt), "status": e["STATUS"], "transp": e["TRANSP"], "sequence": int(e["SEQUENCE"]),
        "alarms": len(e.walk("VALARM"))})
json.dump({"name": cal["NAME"], "zones": [z["TZID"] for z in cal.walk("VTIMEZONE")], "events": out}, sys.stdout)
`

type pythonEvent struct {
	UID, Summary, Description, Location, Start, End, Status, Transp string
	Sequence, Alarms                                                int
}

func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import icalendar").Run() == nil {
			return name
		}
	}
	missing(t, "python3 with icalendar (Debian: python3-icalendar)")
	return ""
}

func TestPythonReadsWhatWasWritten(t *testing.T) {
	program := python(t)
	staff, err := StaffFeed(stylist(), straightening())
	require.NoError(t, err)
	clients, err := ClientFeed(client(), thursday, appointments())
	require.NoError(t, err)
	every := sample()
	every.Events[0].Summary = "a;b,c\\d:e \"f\" 👩🏽‍🦱 שלום"
	// No backslash before an n here: this reader takes it for a line break.
	every.Events[0].Description = "line 1\r\nline 2\x00 " + strings.Repeat("漢字", 60)
	for i, wall := range []string{"2026-10-25T00:15:00Z", "2026-10-25T01:15:00Z", "2027-03-28T00:30:00Z"} {
		start, err := time.Parse(time.RFC3339, wall)
		require.NoError(t, err)
		every.Events = append(every.Events, Event{UID: fmt.Sprint("night-", i), Stamp: revised, Start: start, End: start.Add(time.Hour), Summary: "night", Status: Confirmed})
	}
	for _, c := range []Calendar{staff, clients, every} {
		cmd := exec.Command(program, "-c", readWithPython)
		cmd.Stdin = bytes.NewReader(encode(t, c))
		cmd.Stderr = os.Stderr
		out, err := cmd.Output()
		require.NoError(t, err)
		var read struct {
			Name   string
			Zones  []string
			Events []pythonEvent
		}
		require.NoError(t, json.Unmarshal(out, &read))
		require.Equal(t, c.Name, read.Name)
		require.Equal(t, []string{"Europe/London"}, read.Zones)
		var want []pythonEvent
		for _, e := range c.sorted() {
			want = append(want, asPythonSees(e))
		}
		require.Equal(t, want, read.Events)
	}
}

func asPythonSees(e timed) pythonEvent {
	transparency, _ := busyness(*e.Event)
	p := pythonEvent{
		UID: e.UID, Summary: oneLine(e.Summary), Description: clean(e.Description), Location: oneLine(e.Location),
		Start: e.from.UTC().Format(time.RFC3339), End: e.until.UTC().Format(time.RFC3339),
		Status: string(e.Status), Transp: transparency, Sequence: e.Sequence, Alarms: len(e.Alarms),
	}
	if e.AllDay {
		p.Start, p.End = e.StartDate.String(), e.EndDate.String()
	}
	return p
}

// TestSubscriberKeepsTheFeed lets vdirsyncer subscribe over HTTP and khal show
// the agenda. A second synchronisation must find nothing to do.
func TestSubscriberKeepsTheFeed(t *testing.T) {
	for _, program := range []string{"vdirsyncer", "khal"} {
		if _, err := exec.LookPath(program); err != nil {
			missing(t, program)
		}
	}
	staff, err := StaffFeed(stylist(), straightening())
	require.NoError(t, err)
	clients, err := ClientFeed(client(), thursday, appointments())
	require.NoError(t, err)
	for _, tt := range []struct {
		name   string
		feed   Calendar
		agenda []string
	}{
		{"stylist", staff, []string{
			"09:00-09:18 Consultation · A. K. [Chair 2]",
			"09:18-09:29 With Mira, Basin 1 · free until 09:29 · A. K. [Chair 2, Basin 1]",
			"09:29-10:09 Prep, Apply · A. K. [Chair 2]",
			"10:09-10:24 Watching, checks 10:15, 10:20 · A. K. [Chair 2]",
			"10:24-10:49 With Mira, Basin 1 · free until 10:49 · A. K. [Chair 2, Basin 1]",
			"10:49-12:39 Iron, Neutralize · A. K. [Chair 2]",
		}},
		{"client", clients, []string{
			"09:00-13:30 Straightening, fringe cut at Plain Salon [Plain Salon, 1 Example Street, London]",
			"13:30→ Keep your hair dry and untied until Sat 13:30 []",
			"↔ Keep your hair dry and untied until Sat 13:30 []",
			"→13:30 Keep your hair dry and untied until Sat 13:30 []",
			"16:00-16:40 Cancelled: Dry trim at Plain Salon [Plain Salon, 1 Example Street, London]",
			"Time for a retouch at Plain Salon? []",
		}},
		{"free day", Calendar{Name: "Work", Zone: staff.Zone}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			out := encode(t, tt.feed)
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				_ = serveFeed(w, r, tag, revised, func() ([]byte, error) { return out, nil })
			}))
			defer server.Close()
			s := subscribe(t, server.URL+"/cal/x.ics")
			s.run("vdirsyncer", "-c", "sync.conf", "sync")
			kept, err := filepath.Glob(filepath.Join(s.dir, "kept", "*.ics"))
			require.NoError(t, err)
			require.Len(t, kept, len(tt.feed.Events))
			require.NotRegexp(t, `(?i)copying|deleting|updating`, s.run("vdirsyncer", "-c", "sync.conf", "sync"), "second synchronisation")
			if len(kept) == 0 {
				return
			}
			list := s.run("khal", "-c", "khal.conf", "list", "--day-format", "", "--format", "{start-end-time-style} {title} [{location}]", "2026-11-20", "180d")
			var agenda []string
			for line := range strings.SplitSeq(list, "\n") {
				if line = strings.TrimSpace(line); line != "" {
					agenda = append(agenda, strings.Replace(line, "[:: ", "[", 1))
				}
			}
			require.Equal(t, tt.agenda, agenda)
		})
	}
}

// subscriber is a home folder of a person who subscribes to one feed.
type subscriber struct {
	t   *testing.T
	dir string
}

func subscribe(t *testing.T, url string) subscriber {
	t.Helper()
	s := subscriber{t, t.TempDir()}
	require.NoError(t, os.Mkdir(filepath.Join(s.dir, "kept"), 0o700))
	s.write("sync.conf", `[general]
status_path = "`+s.dir+`/status/"
[pair feed]
a = "salon"
b = "phone"
collections = null
conflict_resolution = "a wins"
[storage salon]
type = "http"
url = "`+url+`"
[storage phone]
type = "filesystem"
path = "`+s.dir+`/kept/"
fileext = ".ics"
`)
	s.write("khal.conf", `[calendars]
[[feed]]
path = `+s.dir+`/kept/
readonly = True
[locale]
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
local_timezone = Europe/London
default_timezone = Europe/London
`)
	s.run("vdirsyncer", "-c", "sync.conf", "discover")
	return s
}

func (s subscriber) write(name, content string) {
	s.t.Helper()
	require.NoError(s.t, os.WriteFile(filepath.Join(s.dir, name), []byte(content), 0o600))
}

// run runs a program in the subscriber's home and returns all it says.
func (s subscriber) run(program string, args ...string) string {
	s.t.Helper()
	cmd := exec.CommandContext(s.t.Context(), program, args...)
	cmd.Dir = s.dir
	cmd.Env = append(os.Environ(), "HOME="+s.dir, "XDG_CONFIG_HOME="+s.dir, "XDG_DATA_HOME="+s.dir, "XDG_CACHE_HOME="+s.dir, "LC_ALL=C.UTF-8")
	cmd.Stdin = strings.NewReader(strings.Repeat("y\n", 9))
	out, err := cmd.CombinedOutput()
	require.NoError(s.t, err, "%s %v: %s", program, args, out)
	return string(out)
}
