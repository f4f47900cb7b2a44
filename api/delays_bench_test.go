package api_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// fullDay is six stylists, three assistants, eight chairs and three basins on a
// Monday on which everybody has clients from nine to six: straightenings,
// colours and cuts. It is half past nine, and the first client came half an
// hour late.
func fullDay(b *testing.B) *salon {
	b.Helper()
	s := newSalon(b)
	leads := []string{s.ada}
	require.NoError(b, s.store.InTx(b.Context(), s.row.ID, func(t *store.Tx) error {
		var work []store.Window
		for d := 1; d <= 6; d++ {
			work = append(work, store.Window{Weekday: d, Kind: "work", From: 540, To: 1080})
		}
		for i := range 6 {
			p, err := t.AddStaff(b.Context(), store.Staff{Unit: store.Unit{Name: fmt.Sprint("Stylist ", i)}, Initials: "S", MayLead: i < 4,
				Skills: []string{"cut", "colour", "straightening"}})
			if err != nil {
				return err
			}
			if i < 4 {
				leads = append(leads, p.ID)
			}
			if err := t.SetStaffHours(b.Context(), p.ID, work); err != nil {
				return err
			}
		}
		for i := range 8 {
			kind := []string{"chair", "basin"}[i/6]
			if _, err := t.AddStation(b.Context(), store.Unit{Kind: kind, Name: fmt.Sprint("another ", kind, i), Changeover: 3}); err != nil {
				return err
			}
		}
		return nil
	}))
	leads = append(leads, s.ben)
	x := today(s)
	n := 0
	for i, lead := range leads {
		for at := monday(9, 0); at.Before(monday(18, 0)); at = at.Add(10 * time.Minute) {
			kind := "Dry cut"
			switch {
			case lead == s.ben || i%2 == 1 && n%3 == 0:
				kind = "Root colour"
			case lead != s.ada && i%2 == 0 && at.Hour() == 9:
				kind = "Straightening"
			}
			if v, ok := s.maybe(fmt.Sprint("Guest", n), at, s.by(lead, kind)); ok {
				n++
				at = v.End.Add(-10 * time.Minute)
			}
		}
	}
	s.at(monday(9, 30))
	x.ok("arrive")
	x.ok(x.step("talk") + "start")
	return s
}

// get measures one address, straight at the handler.
func (s *salon) get(b *testing.B, path string) {
	for b.Loop() {
		req := httptest.NewRequest(http.MethodGet, path, nil)
		req.Header.Set("Authorization", "Bearer "+s.token)
		w := httptest.NewRecorder()
		s.server.Handler().ServeHTTP(w, req)
		if w.Code != http.StatusOK {
			b.Fatal(w.Code, w.Body)
		}
	}
}

// BenchmarkLateDay asks for the delays of a full day with remedies, for the day
// itself and for one visit of it.
func BenchmarkLateDay(b *testing.B) {
	s := fullDay(b)
	d := s.delays(mondayDate)
	b.Logf("%d visits, %d minutes late, %d rules broken, %d remedies, complete: %v", len(d.Visits), d.LateMinutes, len(d.Broken), len(d.Remedies), d.Complete)
	for _, r := range d.Remedies {
		b.Log(r.Kind, r.Applies, r.Words)
	}
	b.Run("delays", func(b *testing.B) { s.get(b, "/v1/days/"+mondayDate+"/delays") })
	b.Run("projection", func(b *testing.B) { s.get(b, "/v1/days/"+mondayDate+"/delays?remedies=no") })
	b.Run("day", func(b *testing.B) { s.get(b, "/v1/days/"+mondayDate) })
	b.Run("visit", func(b *testing.B) { s.get(b, "/v1/visits/"+d.Visits[len(d.Visits)-1].VisitID) })
}
