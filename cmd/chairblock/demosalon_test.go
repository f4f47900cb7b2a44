package main

import (
	"bytes"
	"context"
	"flag"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
	"chairblock/store/storetest"
)

// fill opens the demonstration at a moment, over a fresh database unless one is
// given.
func fillAt(t *testing.T, st *store.Store, at time.Time) *demoSalon {
	t.Helper()
	d, err := openDemo(t.Context(), st, at, t.Logf)
	require.NoError(t, err)
	return d
}

func freshStore(t *testing.T) *store.Store {
	t.Helper()
	st, err := store.Open(t.Context(), storetest.URL(t), 4)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	return st
}

// filledMoment is when the demonstration of filledStore was started.
const filledMoment = "2026-06-11 11:20:00"

// filledStore is a database in which the demonstration was started at filledMoment.
func filledStore(t *testing.T) *store.Store {
	t.Helper()
	url := storetest.Filled(t, "demo", func(url string) error {
		st, err := store.Open(t.Context(), url, 4)
		if err != nil {
			return err
		}
		defer st.Close()
		_, err = openDemo(t.Context(), st, moment(t, filledMoment), t.Logf)
		return err
	})
	st, err := store.Open(t.Context(), url, 4)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	return st
}

// moment reads a time of the demo's salon.
func moment(t *testing.T, text string) time.Time {
	t.Helper()
	loc, err := time.LoadLocation(demoZone)
	require.NoError(t, err)
	at, err := time.ParseInLocation("2006-01-02 15:04:05", text, loc)
	require.NoError(t, err)
	return at
}

var everyMoment = flag.Bool("moments", false, "start the demonstration on each weekday")

func TestTheDemoMakesSenseWheneverItIsStarted(t *testing.T) {
	// Who has a day off differs by weekday; each of them is among the days to come of
	// any start. Filling takes longer than all that is looked at.
	moments := map[string]string{
		"Monday morning":                            "2026-06-08 10:30:00",
		"Thursday, a second before midnight":        "2026-12-31 23:59:59",
		"Friday, a second after midnight":           "2027-01-01 00:00:01", // before opening, too
		"Saturday after closing":                    "2027-03-27 19:30:00", // clocks go forward in the night
		"Sunday near closing, clocks were put back": "2026-10-25 16:40:00",
	}
	if *everyMoment {
		moments["Tuesday before opening"], moments["Wednesday afternoon"] = "2026-06-09 06:00:00", "2026-06-10 14:00:00"
	}
	for name, at := range moments {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			st, now := freshStore(t), moment(t, at)
			d := fillAt(t, st, now)
			s := api.New(st, "http://demo.example", func() time.Time { return now })
			var out bytes.Buffer
			require.NoError(t, d.greet(t.Context(), s, "http://demo.example", "/messages", &out))
			token := regexp.MustCompile(`owner's token +(\S+)`).FindStringSubmatch(out.String())[1]

			straight, busy := 0, 0
			for ahead := range daysAhead {
				day := into[api.DayBody](ask(t, s, token, http.MethodGet, "/v1/days/"+now.AddDate(0, 0, ahead).Format(time.DateOnly), ""))
				require.Empty(t, day.Conflicts, day.Date)
				onePlaceEach(t, day)
				require.GreaterOrEqual(t, len(day.Visits), 4, "%s is empty", day.Date)
				if slices.ContainsFunc(day.Visits, func(v api.VisitBody) bool { return v.Services[0].Name == straightening }) {
					straight++
				} else {
					require.NotZero(t, ahead, "no straightening today")
				}
				if assisted(day) {
					busy++
				}
			}
			require.GreaterOrEqual(t, straight, daysAhead*2/3, "days with a straightening")
			require.GreaterOrEqual(t, busy, daysAhead-1, "days on which an assistant works")

			booking := regexp.MustCompile(`(?s)/v1/visits .*? -d '([^']*)'`).FindStringSubmatch(out.String())[1]
			made := ask(t, s, token, http.MethodPost, "/v1/visits", booking)
			require.Equal(t, http.StatusCreated, made.status, "the tour's booking: %s", made.body)
			require.True(t, into[api.VisitBody](made).Start.After(now))
		})
	}
}

// ask sends a request to a server without a network.
func ask(t *testing.T, s *api.Server, token, method, path, body string) reply {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), method, path, strings.NewReader(body))
	r.Header.Set("Authorization", "Bearer "+token)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Idempotency-Key", "the tour")
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return reply{t, w.Code, w.Header(), w.Body.String()}
}

// onePlaceEach demands that no client and no unit is in two places at once.
func onePlaceEach(t *testing.T, day api.DayBody) {
	t.Helper()
	type use struct{ from, to time.Time }
	seen := map[string][]use{}
	at := func(who string, from, to time.Time) {
		for _, u := range seen[who] {
			require.False(t, from.Before(u.to) && u.from.Before(to), "%s: %s is in two places at %s", day.Date, who, from)
		}
		seen[who] = append(seen[who], use{from, to})
	}
	for _, v := range day.Visits {
		end := v.End
		if v.FinishedAt != nil && v.FinishedAt.Before(end) { // what was over early freed its time
			end = *v.FinishedAt
		}
		at("client "+v.ClientID, v.Start, end)
		for _, s := range v.Steps {
			if s.End.After(end) {
				s.End = end
			}
			for _, u := range s.Units {
				at(u.UnitID, s.Start, s.End)
			}
		}
	}
}

func assisted(day api.DayBody) bool {
	for _, u := range day.Units {
		if u.Kind == "assistant" && len(u.Bookings) > 0 {
			return true
		}
	}
	return false
}

func TestALaterStartAddsWhatIsMissing(t *testing.T) {
	st, first := filledStore(t), moment(t, filledMoment)
	count := func() (n int) {
		row, err := st.FirstSalon(t.Context())
		require.NoError(t, err)
		require.NoError(t, st.InTx(t.Context(), row.ID, func(tx *store.Tx) error {
			visits, err := tx.VisitsBetween(t.Context(), first.AddDate(-1, 0, 0), first.AddDate(1, 0, 0))
			n = len(visits)
			return err
		}))
		return n
	}
	for _, tt := range []struct {
		later time.Duration
		more  bool
	}{{0, true}, {time.Hour, false}, {24 * time.Hour, true}, {10 * 24 * time.Hour, true}} {
		before := 0
		if tt.later > 0 {
			before = count()
		}
		d := fillAt(t, st, first.Add(tt.later))
		require.NoError(t, d.greet(t.Context(), d.server, "http://demo.example", "/messages", &bytes.Buffer{}))
		require.Equal(t, tt.more, count() > before, "after %s", tt.later)
	}
}

func TestAStartThatWasCutShortIsTakenUp(t *testing.T) {
	st := freshStore(t)
	_, err := st.AddSalon(t.Context(), store.Salon{Name: demoName, Zone: demoZone, Currency: "GBP"})
	require.NoError(t, err)
	require.Len(t, fillAt(t, st, moment(t, "2026-06-11 11:20:00")).clients, demoClients)
}

func TestADemoThatLacksTooMuchSaysWhatToDo(t *testing.T) {
	st, now := filledStore(t), moment(t, filledMoment)
	d := fillAt(t, st, now)
	require.NoError(t, st.InTx(t.Context(), d.row.ID, func(tx *store.Tx) error {
		s := d.services[straightening]
		return tx.RetireService(t.Context(), s.ID, s.Row)
	}))
	_, err := openDemo(t.Context(), st, now, t.Logf)
	require.ErrorContains(t, err, "lacks people, clients or the service Straightening: start with --fresh")
	require.NoError(t, forget(context.Background(), st))
	fillAt(t, st, now)
}

// TestTheBoardOfTheReadme keeps the picture of a day up to date.
func TestTheBoardOfTheReadme(t *testing.T) {
	const path = "../../testdata/board.svg"
	st, now := filledStore(t), moment(t, filledMoment)
	d := fillAt(t, st, now)
	d.clock = now
	got, err := d.server.Board(t.Context(), d.row.ID, "2026-06-11")
	require.NoError(t, err)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "run go test ./cmd/chairblock -run Readme -update and look at the picture")
}
