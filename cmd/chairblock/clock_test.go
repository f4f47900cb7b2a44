//go:build unix

package main

import (
	"context"
	"database/sql"
	"net/http"
	netmail "net/mail"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/storetest"
)

// timeless is a salon whose database shows any time that a test wants.
type timeless struct {
	t     *testing.T
	url   string
	set   func(ahead time.Duration)
	dir   string // of mails
	token string
	mail  string // id of a client who hears by mail
	cut   string // id of a service
}

func newTimeless(t *testing.T, now time.Time) *timeless {
	t.Helper()
	x := &timeless{t: t, url: storetest.Real(t).URL(), dir: filepath.Join(folder(t), "mail")}
	x.set = storetest.Clock(t, x.url)
	x.set(time.Until(now))
	st, err := store.Open(t.Context(), x.url, 2)
	require.NoError(t, err)
	defer st.Close()
	d := &demoSalon{store: st, now: now, services: map[string]store.ServiceRow{}}
	d.row, err = st.AddSalon(t.Context(), store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP", Mail: demoMail, Phone: demoPhone, Messages: []byte(demoMessages)})
	require.NoError(t, err)
	require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) (err error) {
		if err = d.load(t.Context(), tx); err != nil {
			return err
		}
		_, x.token, err = tx.AddToken(t.Context(), store.Owner, "", "test", nil)
		return err
	}))
	x.mail = d.clients[slices.IndexFunc(d.clients, func(c store.Client) bool { return c.ContactBy == "mail" })].ID
	x.cut = d.services["Dry cut"].ID
	return x
}

// at runs two servers at a time.
func (x *timeless) at(now time.Time, f func(url string)) {
	x.t.Helper()
	x.set(time.Until(now))
	ctx, stop := context.WithCancel(x.t.Context())
	var all sync.WaitGroup
	defer all.Wait()
	defer stop()
	var url string
	for range 2 {
		r, err := start(ctx, Database{DatabaseURL: x.url}, Mail{Maildir: x.dir}, HealthKey{}, "127.0.0.1:0", "", x.t.Logf)
		require.NoError(x.t, err)
		r.reach(true)
		require.NoError(x.t, r.startJobs(ctx))
		url = r.url
		all.Go(func() {
			defer r.close()
			if err := r.serve(ctx); err != nil {
				x.t.Error(err)
			}
		})
	}
	f(url)
}

func (x *timeless) book(url, date string) api.VisitBody {
	x.t.Helper()
	ask := api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: x.cut}}, FirstDate: date, Limit: 1}
	found := into[api.OpeningsAnswer](call(x.t, http.MethodPost, url+"/v1/openings", x.token, ask))
	require.NotEmpty(x.t, found.Openings, date)
	o := found.Openings[0]
	want := api.VisitRequest{ClientID: x.mail, Start: o.Start, Services: []api.ServiceRequest{{ServiceID: x.cut, LeadID: o.LeadID}}}
	made := call(x.t, http.MethodPost, url+"/v1/visits", x.token, want, "Idempotency-Key", store.NewID())
	require.Equal(x.t, http.StatusCreated, made.status, made.body)
	v := into[api.VisitBody](made)
	require.Equal(x.t, date, v.Start.In(london(x.t)).Format(time.DateOnly))
	return v
}

// due is when the reminder of a visit is due.
func due(t *testing.T, v api.VisitBody) time.Time {
	t.Helper()
	for _, r := range v.Reminders {
		if r.Kind == "reminder" {
			return r.Due
		}
	}
	require.FailNow(t, "no reminder")
	return time.Time{}
}

// reminded waits until the reminder of a visit is sent.
func (x *timeless) reminded(v api.VisitBody) {
	x.t.Helper()
	db, err := sql.Open("pgx", x.url)
	require.NoError(x.t, err)
	defer db.Close()
	eventually(x.t, "the reminder is sent", func() bool {
		var state string
		require.NoError(x.t, db.QueryRowContext(x.t.Context(), `SELECT state FROM reminder WHERE visit_id = $1 AND kind = 'reminder'`, v.ID).Scan(&state))
		return state == "sent"
	})
}

// judge demands that each message that was sent is there once and was not sent early.
func (x *timeless) judge(least int) {
	x.t.Helper()
	db, err := sql.Open("pgx", x.url)
	require.NoError(x.t, err)
	defer db.Close()
	rows, err := db.QueryContext(x.t.Context(), `SELECT r.message_id, min(a.started_at) - min(r.due_at) < '0' FROM reminder r JOIN reminder_attempt a USING (salon_id, reminder_id)
		WHERE r.state = 'sent' GROUP BY 1`)
	require.NoError(x.t, err)
	defer rows.Close()
	var sent []string
	for rows.Next() {
		var id string
		var early bool
		require.NoError(x.t, rows.Scan(&id, &early))
		require.False(x.t, early, id)
		sent = append(sent, "<"+id+">")
	}
	require.NoError(x.t, rows.Err())
	files, err := filepath.Glob(filepath.Join(x.dir, "new", "*"))
	require.NoError(x.t, err)
	var came []string
	for _, name := range files {
		f, err := os.Open(name)
		require.NoError(x.t, err)
		m, err := netmail.ReadMessage(f)
		require.NoError(x.t, err)
		require.NoError(x.t, f.Close())
		came = append(came, m.Header.Get("Message-Id"))
	}
	require.ElementsMatch(x.t, sent, came)
	require.GreaterOrEqual(x.t, len(sent), least)
}

// TestOverALeapDayAndAChangeOfClocksNothingIsSentTwiceOrEndsEarly has two servers at
// times that follow each other, and come twice.
func TestOverALeapDayAndAChangeOfClocksNothingIsSentTwiceOrEndsEarly(t *testing.T) {
	t.Parallel()
	zone := london(t)
	begin := time.Date(2028, 2, 28, 12, 0, 0, 0, zone)
	x := newTimeless(t, begin)
	var leap, spring, autumn api.VisitBody
	var short, long string // pencilled visits
	state := func(url, id string) string {
		return into[api.VisitBody](get(t, url+"/v1/visits/"+id, x.token)).State
	}
	pencil := func(url, date string, until time.Time) string {
		d := &demo{url: url, owner: x.token, process: &process{t: t}}
		return d.pencilOn(t, date, until).ID
	}
	x.at(begin, func(url string) {
		leap, spring, autumn = x.book(url, "2028-03-01"), x.book(url, "2028-03-26"), x.book(url, "2028-10-29")
		short, long = pencil(url, "2028-03-03", begin.Add(10*time.Minute)), pencil(url, "2028-03-04", begin.Add(3*time.Hour))
	})
	x.at(begin.Add(-time.Hour), func(url string) {
		require.Equal(t, "held", state(url, short))
		require.Equal(t, "held", state(url, long))
	})
	x.at(begin.Add(time.Hour), func(url string) {
		eventually(t, "what was pencilled for ten minutes has lapsed", func() bool { return state(url, short) == "lapsed" })
		require.Equal(t, "held", state(url, long))
	})
	require.Equal(t, 29, due(t, leap).In(zone).Day(), "it waits for the leap day: %v", due(t, leap))
	// Each time that comes twice is followed by one at which everything before is over.
	for _, v := range []api.VisitBody{leap, spring, autumn} {
		x.at(due(t, v).Add(time.Second), func(string) { x.reminded(v) })
		x.at(due(t, v).Add(-time.Hour), func(url string) { get(t, url+"/v1/salon", x.token) })
	}
	x.judge(6)
}
