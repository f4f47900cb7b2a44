package api_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/store"
)

// process is another process of the service on the same database: nothing is
// in its memory yet.
func (s *salon) process() *salon {
	s.t.Helper()
	o := serve(s.t, s.url)
	p := *s
	p.store, p.server, p.http, p.clock = o.store, o.server, o.http, o.clock
	p.at(*s.clock.Load())
	return &p
}

// TestOpeningsKnowWhatAnotherProcessHasDone changes a salon at random through
// one process and holds the next answer of a second one, which has it in
// memory, against that of a third, which has just begun.
func TestOpeningsKnowWhatAnotherProcessHasDone(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	defer func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	}()
	r := rand.New(rand.NewPCG(seed, 0))
	s := newSalon(t)
	second := s.process()
	client := s.client("Mara")
	type visit struct{ id, tag string }
	var visits []visit
	for n := range 25 {
		days := object{"first_date": "2026-06-08", "last_date": "2026-06-13", "limit": 200}
		switch r.IntN(6) {
		case 0, 1, 2:
			services := [][]object{s.cut(), s.straightening(), {{"service_id": s.services["Root colour"]}}}[r.IntN(3)]
			if open := s.openings(services, days).Openings; len(open) > 0 {
				v, tag := s.book(s.client(fmt.Sprint("Guest", n)), open[r.IntN(len(open))].Start, services)
				visits = append(visits, visit{v.ID, tag})
			}
		case 3:
			if len(visits) > 0 {
				s.call("POST", "/v1/visits/"+visits[0].id+"/cancel", nil, "If-Match", visits[0].tag).is(200, nil)
				visits = visits[1:]
			}
		case 4:
			from := start.Add(time.Duration(r.IntN(100)) * time.Hour)
			s.call("POST", "/v1/absences", object{"unit_id": []string{s.ada, s.ben, s.chairs[0], s.basins[0]}[r.IntN(4)], "from": from, "to": from.Add(2 * time.Hour)}).is(201, nil)
		case 5:
			d := scheduling.CivilDate(start, berlin(t)).Add(date.PeriodOfDays(r.IntN(20)))
			s.call("POST", "/v1/closures", object{"first_date": d.String(), "last_date": d.String()}).is(201, nil)
		}
		ask := object{"first_date": "2026-06-08", "last_date": "2026-06-20", "limit": 200, "grid_minutes": 1 + r.IntN(60)}
		if r.IntN(2) == 0 {
			ask["client_id"], ask["end_by"] = client, "16:00"
		}
		fresh := s.process()
		for _, services := range [][]object{s.cut(), s.straightening()} {
			require.Equal(t, fresh.openings(services, ask), second.openings(services, ask))
		}
		if len(visits) > 0 {
			v := visits[r.IntN(len(visits))]
			ask = object{"visit_id": v.id, "any_lead": r.IntN(2) == 0, "limit": 200}
			var want, got api.OpeningsAnswer
			fresh.call("POST", "/v1/openings", ask).is(200, &want)
			second.call("POST", "/v1/openings", ask).is(200, &got)
			require.Equal(t, want, got)
		}
	}
}

// TestAnAnswerThatIsOutOfDateCostsARefusalAndNoMore has a process believe what
// is not so any more, by taking away what it learns of changes from.
func TestAnAnswerThatIsOutOfDateCostsARefusalAndNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ask := object{"first_date": "2026-06-09", "last_date": "2026-06-09", "limit": 200}
	second := s.process()
	second.openings(s.straightening(), ask)
	_, err := s.db().Exec(`ALTER TABLE block DISABLE TRIGGER USER`)
	require.NoError(t, err)
	nine := start.Add(25 * time.Hour)
	s.book(s.client("Mara"), nine, s.straightening())
	stale := second.openings(s.straightening(), ask).Openings
	require.True(t, stale[0].Start.Equal(nine), "which is taken")

	body := object{"client_id": s.client("Nora"), "start": nine, "services": s.straightening(), "approved_by": "Ada"}
	second.call("POST", "/v1/visits", body, "Idempotency-Key", "late").refused(409, "taken")
	var taken int
	require.NoError(t, s.db().QueryRow(`SELECT count(*) FROM visit`).Scan(&taken))
	require.Equal(t, 1, taken)
	require.Greater(t, len(stale), len(s.process().openings(s.straightening(), ask).Openings))
}

// TestOpeningsOfABookedVisitAreWhereItCanMove moves a visit to every start of a
// few days, and holds the starts where that worked against its openings.
func TestOpeningsOfABookedVisitAreWhereItCanMove(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for unit, from := range map[string]string{s.ada: "2026-06-10T09:00:00+02:00", s.basins[0]: "2026-06-12T13:00:00+02:00"} {
		at, err := time.Parse(time.RFC3339, from)
		require.NoError(t, err)
		s.call("POST", "/v1/absences", object{"unit_id": unit, "from": at, "to": at.Add(time.Hour)}).is(201, nil)
	}
	s.book(s.client("Nora"), time.Date(2026, 6, 12, 9, 0, 0, 0, berlin(t)), []object{s.by(s.ada, "Dry cut")})
	open := s.openings(s.straightening(), object{"first_date": "2026-06-10", "last_date": "2026-06-10", "limit": 1}).Openings[0]
	client := s.client("Mara")
	v, tag := s.book(client, open.Start, s.straightening())
	bens := []object{s.by(s.ben, "Cut and dry")} // so that Ada and a chair are free meanwhile
	own, _ := s.book(client, s.openings(bens, object{"client_id": client, "first_date": "2026-06-11", "not_before": "2026-06-11T12:00:00+02:00", "limit": 1}).Openings[0].Start, bens)
	meets := func(a api.OpeningsAnswer) bool {
		return slices.ContainsFunc(a.Openings, func(o api.OpeningBody) bool { return o.Start.Before(own.End) && own.Start.Before(o.End) })
	}
	thatDay := object{"first_date": "2026-06-11", "last_date": "2026-06-11", "limit": 200}
	require.True(t, meets(s.openings([]object{s.by(s.ada, "Straightening")}, thatDay)), "another client can come meanwhile")

	// A longer service from now on changes nothing for a visit that is booked.
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		row, err := tx.ServiceByID(t.Context(), s.services["Straightening"])
		require.NoError(t, err)
		row.Steps = append(row.Steps, scheduling.Step{Kind: "rest", Label: "Rest", Who: scheduling.ByNobody, Where: scheduling.AtChair, Minutes: 40})
		_, err = tx.UpdateService(t.Context(), row.Service, row.Row)
		return err
	}))
	for _, lead := range []object{{}, {"any_lead": true}} {
		ask := object{"visit_id": v.ID, "first_date": "2026-06-10", "last_date": "2026-06-12", "grid_minutes": 60, "limit": 200}
		move := object{"approved_by": "Ada"}
		for k, x := range lead {
			ask[k], move[k] = x, x
		}
		var a api.OpeningsAnswer
		s.call("POST", "/v1/openings", ask).is(200, &a)
		require.Equal(t, 270, a.Minutes)
		require.Contains(t, starts(a), open.Start.Format("2 15:04"), "where it is")
		var can []string
		for at := time.Date(2026, 6, 10, 0, 0, 0, 0, berlin(t)); at.Day() < 13; at = at.Add(time.Hour) {
			move["start"] = at
			x := s.call("POST", "/v1/visits/"+v.ID+"/move", move, "If-Match", tag)
			if x.status == 200 {
				tag = x.header.Get("ETag")
				can = append(can, at.Format("2 15:04"))
				continue
			}
			x.refused(409, "taken")
		}
		require.Equal(t, can, starts(a))
		require.Greater(t, len(can), 2)
	}
	var a api.OpeningsAnswer
	thatDay["visit_id"] = v.ID
	s.call("POST", "/v1/openings", thatDay).is(200, &a)
	require.False(t, meets(a))

	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	theirs := s.neighbour()
	foreign, _ := theirs.book(theirs.client("Lea"), open.Start, theirs.straightening())
	for _, x := range []struct {
		body  object
		wrong string
	}{
		{object{"visit_id": own.ID, "services": s.cut()}, "/services"},
		{object{"visit_id": own.ID, "client_id": s.client("Ines")}, "/client_id"},
		{object{"visit_id": own.ID, "lead_id": s.mina}, "/lead_id"},
		{object{"visit_id": own.ID, "lead_ids": []string{"", ""}}, "/lead_ids"},
		{object{"visit_id": v.ID}, "/visit_id"},
		{object{"visit_id": foreign.ID}, "/visit_id"},
		{object{"services": s.cut(), "any_lead": true}, "/lead_id"},
		{object{}, "/services"},
	} {
		p := s.call("POST", "/v1/openings", x.body).refused(422, "invalid")
		require.Equal(t, []string{"body " + x.wrong}, pointers(p), "%v", x.body)
	}
}

// TestEveryGridPicksItsMinutesByTheClock holds the openings on grids of all kinds,
// over nights in which the clocks change, against those of every minute.
func TestEveryGridPicksItsMinutesByTheClock(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.at(time.Date(2026, 3, 20, 9, 0, 0, 0, berlin(t)))
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		var open, work []store.Window
		for d := 1; d <= 7; d++ {
			open = append(open, store.Window{Weekday: d, Kind: "open", From: 0, To: 1440})
			work = append(work, store.Window{Weekday: d, Kind: "work", From: 0, To: 1440})
		}
		return errors.Join(tx.SetOpeningHours(t.Context(), open), tx.SetStaffHours(t.Context(), s.ada, work))
	}))
	all := func(day string, grid int) (list []time.Time) {
		d, err := date.ParseISO(day)
		require.NoError(t, err)
		ask := object{"first_date": day, "last_date": d.Add(1).String(), "grid_minutes": grid, "limit": 200}
		for {
			a := s.openings(s.cut(), ask)
			for _, o := range a.Openings {
				list = append(list, o.Start)
			}
			if a.Next == nil {
				return list
			}
			ask["not_before"] = a.Next
		}
	}
	r := rand.New(rand.NewPCG(5, 6))
	for _, day := range []string{"2026-03-29", "2026-10-25"} {
		minutes := all(day, 1)
		require.NotEmpty(t, minutes)
		for _, grid := range append([]int{7, 15, 60, 90, 100, 240}, 1+r.IntN(240), 1+r.IntN(240)) {
			want := slices.DeleteFunc(slices.Clone(minutes), func(at time.Time) bool { return (at.Hour()*60+at.Minute())%grid != 0 })
			require.Equal(t, want, all(day, grid), "%s, %d", day, grid)
		}
	}
}
