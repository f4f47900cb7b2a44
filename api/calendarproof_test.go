package api_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/ics"
	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/storetest"
)

// proofZones change their clocks twice between September and April, each in
// its own way: by an hour, by half of one, by two, at midnight, with the winter
// as the exception, with an offset of 45 minutes. Kathmandu never does.
var proofZones = []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "Pacific/Chatham",
	"Africa/Cairo", "Europe/Dublin", "Antarctica/Troll", "Asia/Kathmandu"}

// proofDay is when the feeds are read: both changes lie in what they show.
var proofDay = time.Date(2026, 10, 20, 9, 0, 0, 0, time.UTC)

// changesOf are the moments in the window of a feed at which clocks change.
func changesOf(loc *time.Location) []time.Time {
	first, last := ics.Window(scheduling.CivilDate(proofDay, loc))
	from, _ := scheduling.DayBounds(loc, first)
	_, to := scheduling.DayBounds(loc, last)
	var out []time.Time
	offset := func(t time.Time) int { _, o := t.In(loc).Zone(); return o }
	for t := from; t.Before(to); t = t.Add(time.Minute) {
		if offset(t) != offset(t.Add(time.Minute)) {
			out = append(out, t.Add(time.Minute))
		}
	}
	return out
}

// proofSalon is open day and night, with visits before, over and after every
// change of clocks.
func proofSalon(s *salon, zone string) (clients []string, visits []api.VisitBody) {
	t := s.t
	t.Helper()
	s.open(zone)
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { return s.fill(t.Context(), tx) }))
	always := func(kind string) (week []store.Window) {
		for d := 1; d <= 7; d++ {
			week = append(week, store.Window{Weekday: d, Kind: kind, From: 0, To: 1440})
		}
		return week
	}
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		for _, id := range []string{s.ada, s.ben, s.mina} {
			if err := tx.SetStaffHours(t.Context(), id, always("work")); err != nil {
				return err
			}
		}
		return tx.SetOpeningHours(t.Context(), always("open"))
	}))
	s.at(proofDay.AddDate(0, 0, -40))
	clients = []string{s.client("Zenobia"), s.client("Yolande"), s.client("Xaviera")}
	book := func(client string, at time.Time, services []object) api.VisitBody {
		v, _ := s.book(client, at, services)
		visits = append(visits, v)
		return v
	}
	changes := changesOf(loc)
	if len(changes) == 0 {
		changes = []time.Time{proofDay.AddDate(0, 0, 5)}
	}
	for _, at := range changes {
		cut := []object{s.by(s.ben, "Dry cut")}
		book(clients[0], at.Add(-33*time.Hour), s.straightening()) // its 48 hours lie over the change
		book(clients[1], at.Add(-2*time.Hour), s.straightening())  // the chair is taken over it
		book(clients[2], at.Add(-20*time.Minute), cut)
		book(clients[2], at.Add(40*time.Minute), cut)
		gone := book(clients[2], at.Add(30*time.Hour), cut)
		s.call("POST", "/v1/visits/"+gone.ID+"/cancel", nil, "If-Match", s.tag(gone.ID)).is(200, nil)
		moved := book(clients[0], at.Add(70*time.Hour), cut)
		s.call("POST", "/v1/visits/"+moved.ID+"/move", object{"start": at.Add(75 * time.Hour)}, "If-Match", s.tag(moved.ID)).is(200, nil)
	}
	return clients, visits
}

// tag is the entity tag of a visit as it is now.
func (s *salon) tag(visit string) string {
	s.t.Helper()
	return s.call("GET", "/v1/visits/"+visit, nil).is(200, nil).header.Get("ETag")
}

// TestEveryFeedOfEveryZoneIsReadAsItWasMeant lets the strict checker, a real
// calendar client and another library read every kind of feed of salons whose
// visits lie across both changes of clocks.
func TestEveryFeedOfEveryZoneIsReadAsItWasMeant(t *testing.T) {
	checker := proofPrograms(t)
	for _, zone := range proofZones {
		t.Run(zone, func(t *testing.T) {
			t.Parallel()
			n := serve(t, storetest.URL(t))
			clients, visits := proofSalon(n, zone)
			n.at(proofDay)
			staff := []string{"--no-overlap", "--forbid", "Zenobia|Yolande|Xaviera|Quist|@|30901820"}
			feeds := []struct {
				name, kind, subject string
				more                []string
			}{
				{"stylist", "staff", n.ada, staff},
				{"second stylist", "staff", n.ben, staff},
				{"chair", "station", n.chairs[0], staff},
				{"basin", "station", n.basins[0], staff},
				{"salon", "salon", "", staff[1:]},
				{"client", "client", clients[0], nil},
				{"client of the night", "client", clients[1], nil},
				{"client who cancelled", "client", clients[2], nil},
			}
			calendars, urls := make([]calendar, len(feeds)), make([]string, len(feeds))
			for i, f := range feeds {
				calendars[i] = n.feed(f.kind, f.subject)
				urls[i] = n.http.URL + calendars[i].path
			}
			// For a minute after a change the date of the salon's calendar goes on.
			n.alter(`UPDATE feed_version SET changed_at = changed_at - interval '1 hour'`)
			kept := subscribeOnce(t, urls, zone)
			for i, f := range feeds {
				c, url := calendars[i], urls[i]
				args := append([]string{checker, url, "--profile", "feed", "--werror", "--peers", "--quiet"}, f.more...)
				out, err := exec.CommandContext(t.Context(), "/usr/bin/python3", args...).CombinedOutput()
				if strings.Contains(string(out), "N-304") {
					// The second of the last change passed between two of its requests.
					out, err = exec.CommandContext(t.Context(), "/usr/bin/python3", args...).CombinedOutput()
				}
				require.NoError(t, err, "%s: %s", f.name, out)
				_, events := c.events()
				require.Len(t, events, kept[i], "%s: the calendar client keeps every event", f.name)
				require.NotEmpty(t, events, f.name)
				if f.kind == "client" {
					requireAppointments(t, n.visitsOf(visits, f.subject), events)
				}
			}
		})
	}
}

// visitsOf are the visits of a client as they stand now.
func (s *salon) visitsOf(visits []api.VisitBody, client string) []api.VisitBody {
	s.t.Helper()
	var out []api.VisitBody
	for _, v := range visits {
		if v.ClientID != client {
			continue
		}
		var now api.VisitBody
		s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &now)
		out = append(out, now)
	}
	return out
}

// requireAppointments holds that another library reads from a client's feed
// the instants at which visits begin and end, and 48 elapsed hours after each
// that straightens.
func requireAppointments(t *testing.T, visits []api.VisitBody, events []event) {
	t.Helper()
	utc := func(at time.Time) string { return at.UTC().Format(time.RFC3339) }
	type span struct{ start, end, status string }
	have := map[span]int{}
	for _, e := range events {
		have[span{e.Start, e.End, e.Status}]++
	}
	for _, v := range visits {
		want := span{utc(v.Start), utc(v.End), "CONFIRMED"}
		if v.State == "cancelled" {
			if v.End.Before(proofDay.Add(-24 * time.Hour)) {
				continue // it is shown until its old end
			}
			want.status = "CANCELLED"
		}
		require.Equal(t, 1, have[want], "%v in %v", want, have)
		if v.KeepDryUntil != nil && v.State != "cancelled" {
			require.Equal(t, 48*time.Hour, v.KeepDryUntil.Sub(v.End))
			require.Equal(t, 1, have[span{utc(v.End), utc(*v.KeepDryUntil), "CONFIRMED"}], "aftercare of %v in %v", want, have)
		}
	}
}

// proofPrograms is the path of the strict checker, when all programs are there.
func proofPrograms(t *testing.T) string {
	t.Helper()
	missing := func(what string) {
		if os.Getenv("CI") == "true" {
			t.Fatalf("CI needs %s", what)
		}
		t.Skipf("SKIPPED: needs %s, otherwise nobody else reads the feeds", what)
	}
	for _, p := range []string{"vdirsyncer", "khal"} {
		if _, err := exec.LookPath(p); err != nil {
			missing(p)
		}
	}
	if exec.Command("/usr/bin/python3", "-c", "import icalendar, vobject, dateutil").Run() != nil {
		missing("python3-icalendar, python3-vobject and python3-dateutil")
	}
	path, err := filepath.Abs("../testdata/checkers/check_feed.py")
	require.NoError(t, err)
	return path
}

// subscribeOnce subscribes a real calendar client to each address, lets khal show
// everything and returns how many events it keeps of each. A second fetch changes
// nothing.
func subscribeOnce(t *testing.T, urls []string, zone string) []int {
	t.Helper()
	dir := t.TempDir()
	sync := fmt.Sprintf("[general]\nstatus_path = %q\n", dir+"/status/")
	khal := fmt.Sprintf(`[locale]
timeformat = %%H:%%M
dateformat = %%Y-%%m-%%d
longdateformat = %%Y-%%m-%%d
datetimeformat = %%Y-%%m-%%d %%H:%%M
longdatetimeformat = %%Y-%%m-%%d %%H:%%M
local_timezone = %[1]s
default_timezone = %[1]s
[calendars]
`, zone)
	folder := func(i int) string { return filepath.Join(dir, fmt.Sprint("kept", i)) }
	for i, url := range urls {
		require.NoError(t, os.Mkdir(folder(i), 0o700))
		sync += fmt.Sprintf(`[pair feed%[1]d]
a = "salon%[1]d"
b = "phone%[1]d"
collections = null
conflict_resolution = "a wins"
[storage salon%[1]d]
type = "http"
url = %[2]q
read_only = true
[storage phone%[1]d]
type = "filesystem"
path = %[3]q
fileext = ".ics"
`, i, url, folder(i))
		khal += fmt.Sprintf("[[feed%d]]\npath = %s\nreadonly = True\n", i, folder(i))
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sync.conf"), []byte(sync), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "khal.conf"), []byte(khal), 0o600))
	run := func(program string, args ...string) string {
		cmd := exec.CommandContext(t.Context(), program, args...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir+"/data", "XDG_CACHE_HOME="+dir+"/cache", "LC_ALL=C.UTF-8")
		cmd.Stdin = strings.NewReader(strings.Repeat("y\n", 9*len(urls)))
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s %v: %s", program, args, out)
		return string(out)
	}
	run("vdirsyncer", "-c", "sync.conf", "discover")
	run("vdirsyncer", "-c", "sync.conf", "sync")
	require.NotRegexp(t, `(?i)copying|deleting|updating`, run("vdirsyncer", "-c", "sync.conf", "sync"), "a second fetch changes nothing")
	require.NotRegexp(t, `(?i)error|could not|skipping|traceback`, run("khal", "-c", "khal.conf", "list", proofDay.AddDate(0, 0, -30).Format(time.DateOnly), "215d"))
	kept := make([]int, len(urls))
	for i := range urls {
		names, err := filepath.Glob(filepath.Join(folder(i), "*.ics"))
		require.NoError(t, err)
		kept[i] = len(names)
	}
	return kept
}
