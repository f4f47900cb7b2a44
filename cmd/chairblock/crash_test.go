//go:build unix

package main

import (
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// rounds is how often a test kills the program; CHAIRBLOCK_CRASH_ROUNDS asks
// for more.
func rounds(t *testing.T, usual int) int {
	t.Helper()
	text := os.Getenv("CHAIRBLOCK_CRASH_ROUNDS")
	if text == "" {
		return usual
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "CHAIRBLOCK_CRASH_ROUNDS")
	return n
}

// promise is a visit that was answered with 201, and what to look for later.
type promise struct {
	request api.VisitRequest
	key     string
	visit   api.VisitBody
	feed    string // path of the stylist's calendar
}

// prepare finds a place for a visit and a calendar that will show it.
func (d *demo) prepare(t *testing.T) promise {
	t.Helper()
	p := promise{key: store.NewID()}
	cut := d.service(t, "Cut and dry")
	// Somebody new, so that no other visit stands in the way.
	who := call(t, http.MethodPost, d.url+"/v1/clients", d.owner, map[string]string{"given_name": "Juna", "mail": "juna@example.org"})
	require.Equal(t, http.StatusCreated, who.status, who.body)
	tomorrow := time.Now().AddDate(0, 0, 1).Format(time.DateOnly)
	ask := api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: cut}}, FirstDate: tomorrow, Limit: 1}
	found := into[api.OpeningsAnswer](call(t, http.MethodPost, d.url+"/v1/openings", d.owner, ask))
	require.NotEmpty(t, found.Openings)
	o := found.Openings[0]
	p.request = api.VisitRequest{ClientID: into[api.ClientBody](who).ID, Start: o.Start, Services: []api.ServiceRequest{{ServiceID: cut, LeadID: o.LeadID}}}
	made := call(t, http.MethodPost, d.url+"/v1/feeds", d.owner, map[string]string{"kind": "staff", "subject_id": o.LeadID})
	require.Equal(t, http.StatusCreated, made.status, made.body)
	p.feed = strings.TrimPrefix(into[api.FeedBody](made).URL, d.url)
	return p
}

func (d *demo) service(t *testing.T, name string) string {
	t.Helper()
	for _, s := range into[struct{ Items []api.ServiceBody }](get(t, d.url+"/v1/services", d.owner)).Items {
		if s.Name == name {
			return s.ID
		}
	}
	require.FailNow(t, "no service "+name)
	return ""
}

func (d *demo) book(t *testing.T, p promise) api.VisitBody {
	t.Helper()
	r := call(t, http.MethodPost, d.url+"/v1/visits", d.owner, p.request, "Idempotency-Key", p.key)
	require.Equal(t, http.StatusCreated, r.status, r.body)
	return into[api.VisitBody](r)
}

// keeps demands that a later start has not forgotten a promise.
func (d *demo) keeps(t *testing.T, p promise) {
	t.Helper()
	want := p.visit
	got := into[api.VisitBody](get(t, d.url+"/v1/visits/"+want.ID, d.owner))
	require.Equal(t, want.Start.UTC(), got.Start.UTC())
	require.Equal(t, want.End.UTC(), got.End.UTC())
	require.Equal(t, want.Steps, got.Steps)
	require.Len(t, got.Reminders, len(want.Reminders))
	for i, r := range want.Reminders {
		require.Equal(t, r.Kind, got.Reminders[i].Kind)
		require.Equal(t, r.Due.UTC(), got.Reminders[i].Due.UTC())
	}
	require.Contains(t, unfolded(get(t, d.url+p.feed, "").body), "DTSTART;TZID=Europe/London:"+localStamp(t, leadsFirst(want)))
	require.Equal(t, want.ID, d.book(t, p).ID, "the same request again")
	all := into[struct{ Items []api.VisitBody }](get(t, d.url+"/v1/visits?client_id="+want.ClientID, d.owner)).Items
	require.Len(t, all, 1, "none more")
}

// leadsFirst is when the stylist in charge begins.
func leadsFirst(v api.VisitBody) time.Time {
	for _, s := range v.Steps {
		for _, u := range s.Units {
			if u.UnitID == v.Services[0].LeadID {
				return s.Start
			}
		}
	}
	return v.Start
}

func TestWhatWasAnsweredSurvivesAKilledProgram(t *testing.T) {
	for name, kill := range map[string]func(*testing.T, *demo){
		"the program alone":    func(_ *testing.T, d *demo) { d.signal(syscall.SIGKILL) },
		"PostgreSQL with it":   killAll,
		"PostgreSQL before it": killPostgresFirst,
	} {
		n := 1
		if name == "the program alone" {
			n = 3
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := furnished(t)
			d := startDemo(t, dir)
			var promises []promise
			for range rounds(t, n) {
				p := d.prepare(t)
				p.visit = d.book(t, p)
				kill(t, d)
				require.Equal(t, -1, d.ended(), "killed by a signal")
				promises = append(promises, p)

				token := d.owner
				d = startDemo(t, dir)
				d.owner = token
				for _, p := range promises {
					d.keeps(t, p)
				}
			}
			d.endBy(t, syscall.SIGINT)
		})
	}
}

func killAll(t *testing.T, d *demo) {
	pids := postgresFamily(t, d)
	d.signal(syscall.SIGKILL)
	killEach(pids)
}

func killPostgresFirst(t *testing.T, d *demo) {
	killEach(postgresFamily(t, d))
	time.Sleep(20 * time.Millisecond)
	d.signal(syscall.SIGKILL)
	// What the program has started again by then is its next start's business.
}

func killEach(pids []int) {
	for _, pid := range pids {
		_ = syscall.Kill(pid, syscall.SIGKILL) // it may have ended with its parent
	}
}

// postgresFamily lists the first process of the private server and all that it
// has started.
func postgresFamily(t *testing.T, d *demo) []int {
	t.Helper()
	return familyOf(t, postgresOf(t, filepath.Join(d.dir, "postgres")))
}

// familyOf lists a process and all that it has started.
func familyOf(t *testing.T, first int) []int {
	t.Helper()
	out, err := exec.Command("ps", "-A", "-o", "pid=,ppid=").Output()
	require.NoError(t, err)
	pids := []int{first}
	for line := range strings.Lines(string(out)) {
		var pid, parent int
		if _, err := fmt.Sscan(line, &pid, &parent); err == nil && parent == first {
			pids = append(pids, pid)
		}
	}
	return pids
}
