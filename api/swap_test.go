package api_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// tuesday is a time on the day after start.
func tuesday(hour, minute int) time.Time {
	return start.Add(time.Duration(24-8+hour)*time.Hour + time.Duration(minute)*time.Minute)
}

// read gets a visit with its ETag.
func (s *salon) read(id string) (api.VisitBody, string) {
	s.t.Helper()
	var v api.VisitBody
	a := s.call("GET", "/v1/visits/"+id, nil).is(200, &v)
	v.CanStartUntil = nil // which others change, too
	return v, a.header.Get("ETag")
}

// parts are the live parts of a person's calendar from the day of start on.
func (s *salon) parts(who string) []store.Part {
	s.t.Helper()
	var list []store.Part
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		list, err = tx.PartsOf(s.t.Context(), who, start.Add(-time.Hour), start.AddDate(0, 1, 0))
		return err
	}))
	return list
}

// reminders counts the messages of a visit by kind and state.
func (s *salon) reminders(id string) map[string]int {
	s.t.Helper()
	v, _ := s.read(id)
	out := map[string]int{}
	for _, r := range v.Reminders {
		out[r.Kind+" "+r.State]++
	}
	return out
}

// sound checks what must hold whatever was done: no unit is used twice, blocks
// stand for visits that are to come and for each step of them.
func (s *salon) sound() {
	s.t.Helper()
	db := s.db()
	for what, query := range map[string]string{
		"blocks of two visits on one unit at a time": `SELECT count(*) FROM block a JOIN block b
			ON a.salon_id = b.salon_id AND a.unit_id = b.unit_id AND a.visit_id < b.visit_id AND a.span && b.span`,
		"steps whose units are not reserved": `SELECT count(*) FROM visit_step_unit u JOIN visit_step x USING (salon_id, visit_id, ordinal) JOIN visit v USING (salon_id, visit_id)
			WHERE v.state IN ('booked', 'held', 'arrived', 'under_way') AND NOT EXISTS (SELECT 1 FROM block b WHERE b.salon_id = u.salon_id AND b.visit_id = u.visit_id
			AND b.unit_id = u.unit_id AND b.starts_at <= x.starts_at AND b.ends_at >= x.ends_at)`,
		"blocks of visits that will not be": `SELECT count(*) FROM block JOIN visit v USING (salon_id, visit_id) WHERE v.state IN ('cancelled', 'missed', 'lapsed')`,
		"visits whose first or last step is elsewhere": `SELECT count(*) FROM visit v WHERE starts_at <> (SELECT min(starts_at) FROM visit_step x WHERE x.visit_id = v.visit_id)
			OR ends_at <> (SELECT max(ends_at) FROM visit_step x WHERE x.visit_id = v.visit_id)`,
		"live calendar parts of visits that will not be": `SELECT count(*) FROM visit_part p JOIN visit v USING (salon_id, visit_id) WHERE p.live AND v.state IN ('cancelled', 'lapsed')`,
		"calendar parts outside their visit": `SELECT count(*) FROM visit_part p JOIN visit v USING (salon_id, visit_id) WHERE p.live AND v.state = 'booked'
			AND p.kind IN ('hands_on', 'watched', 'away', 'client') AND (p.starts_at < v.starts_at OR p.ends_at > v.ends_at)`,
	} {
		var n int
		require.NoError(s.t, db.QueryRow(query).Scan(&n), what)
		require.Zero(s.t, n, what)
	}
}

// swap asks for a swap of two visits in their first versions.
func (s *salon) swap(id, other string, more object) answer {
	s.t.Helper()
	body := object{"other_id": other, "other_version": 1}
	for k, v := range more {
		body[k] = v
	}
	return s.call("POST", "/v1/visits/"+id+"/swap", body, "If-Match", `"v1"`)
}

func TestTwoVisitsTakeEachOthersStartAndEverybodyHearsOfIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	nora, _ := s.book(s.client("Nora"), tuesday(14, 0).AddDate(0, 0, 1), []object{s.by(s.ada, "Dry cut")})
	before := s.parts(s.ada)
	var out api.SwapAnswer
	// The long visit begins in the afternoon of the next day only if it ends by closing time.
	p := s.swap(mara.ID, nora.ID, nil).refused(409, "taken")
	require.Equal(t, "Mara Q. does not fit on Wed 10 June at 14:00: the salon closes at 18:00", p.Detail)
	require.Equal(t, before, s.parts(s.ada))

	earlier, _ := s.book(s.client("Ines"), tuesday(9, 30).AddDate(0, 0, 2), []object{s.by(s.ada, "Dry cut")})
	require.Equal(t, map[string]int{"confirmation waiting": 1, "reminder waiting": 1, "client_late waiting": 1}, s.reminders(earlier.ID))
	s.sendDue()
	a := s.swap(mara.ID, earlier.ID, nil).is(200, &out)
	require.Equal(t, `"v2"`, a.header.Get("ETag"))
	require.EqualValues(t, 2, out.OtherVersion)
	require.True(t, out.Visit.Start.Equal(earlier.Start))
	require.True(t, out.Other.Start.Equal(mara.Start))
	require.Equal(t, mara.Services, out.Visit.Services)
	require.Equal(t, earlier.Services, out.Other.Services)
	_, was := stepsOf(mara)
	_, now := stepsOf(out.Visit)
	require.Equal(t, was, now)
	for _, v := range []api.VisitBody{out.Visit, out.Other} {
		same, _ := s.read(v.ID)
		require.Equal(t, same, v)
		require.Equal(t, 1, s.reminders(v.ID)["moved waiting"])
		require.Zero(t, s.reminders(v.ID)["confirmation waiting"], "it has gone out")
	}
	require.Equal(t, []int{1, 0}, []int{s.reminders(out.Visit.ID)["reminder waiting"], s.reminders(out.Other.ID)["reminder waiting"]},
		"who was told this morning is not reminded an hour later")
	s.sound()
	uid := map[string]int{}
	for _, p := range before {
		uid[p.UID] = p.Sequence
	}
	followed := 0
	for _, p := range s.parts(s.ada) {
		if n, ok := uid[p.UID]; ok && p.Visit == mara.ID {
			require.Equal(t, n+1, p.Sequence)
			followed++
		}
	}
	require.Equal(t, 9, followed, "the parts of the long visit are the same ones at another time")
}

func TestASwapNamesTheOneThatDoesNotFitAndWhy(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	nora, _ := s.book(s.client("Nora"), tuesday(13, 30), []object{s.by(s.ada, "Dry cut")})
	s.book(s.client("Ines"), tuesday(15, 0), []object{s.by(s.ada, "Dry cut")})
	lena, _ := s.book(s.client("Lena"), tuesday(9, 0).AddDate(0, 0, 1), []object{s.by(s.ada, "Dry cut")})
	olga, _ := s.book(s.client("Olga"), tuesday(9, 30).AddDate(0, 0, 1), s.straightening())
	s.call("POST", "/v1/absences", object{"unit_id": s.ada, "from": tuesday(11, 0).AddDate(0, 0, 2), "to": tuesday(12, 0).AddDate(0, 0, 2)}).is(201, nil)
	rosa, _ := s.book(s.client("Rosa"), tuesday(9, 15).AddDate(0, 0, 2), []object{s.by(s.ada, "Dry cut")})
	before := s.tables()()
	for _, x := range []struct{ id, other, want string }{
		{mara.ID, nora.ID, "Mara Q. does not fit on Tue 9 June at 13:30: Ada is booked for Ines Q. from 15:00 to 15:30"},
		{nora.ID, mara.ID, "Mara Q. does not fit on Tue 9 June at 13:30: Ada is booked for Ines Q. from 15:00 to 15:30"},
		{lena.ID, olga.ID, "each of the visits fits at its time, but not beside the others: they need the same person, chair or basin"},
		{mara.ID, rosa.ID, "Mara Q. does not fit on Thu 11 June at 09:15: Ada is not there from 11:00 to 12:00"},
	} {
		require.Equal(t, x.want, s.swap(x.id, x.other, nil).refused(409, "taken").Detail)
	}
	s.swap(mara.ID, nora.ID, object{"other_version": 2}).refused(412, "stale")
	s.call("POST", "/v1/visits/"+mara.ID+"/swap", object{"other_id": nora.ID, "other_version": 1}, "If-Match", `"v2"`).refused(412, "stale")
	require.Equal(t, []string{"body /other_id"}, pointers(s.swap(mara.ID, mara.ID, nil).refused(422, "invalid")))
	require.Equal(t, []string{"body /other_id"}, pointers(s.swap(mara.ID, "none", nil).refused(422, "invalid")))
	require.Equal(t, []string{"body /approved_by"}, pointers(s.swap(mara.ID, nora.ID, object{"approved_by": "Mina"}).refused(422, "invalid")))
	s.swap("none", mara.ID, nil).refused(404, "not-found")
	require.Equal(t, before, s.tables()(), "nothing of it changed anything")
}

func TestASwapChangesStylistsOnlyWhenAskedAndWhenBothCan(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	book := func(name, lead, service string, at time.Time) api.VisitBody {
		v, _ := s.book(s.client(name), at, []object{s.by(lead, service)})
		return v
	}
	mara, nora := book("Mara", s.ada, "Dry cut", tuesday(10, 0)), book("Nora", s.ben, "Dry cut", tuesday(14, 0))
	var out api.SwapAnswer
	s.swap(mara.ID, nora.ID, object{"keep_leads": false}).is(200, &out)
	require.Equal(t, []string{s.ben, s.ada}, []string{out.Visit.Services[0].LeadID, out.Other.Services[0].LeadID})
	require.True(t, out.Visit.Start.Equal(nora.Start))

	ines, lena := book("Ines", s.ada, "Straightening", tuesday(9, 0).AddDate(0, 0, 1)), book("Lena", s.ben, "Dry cut", tuesday(10, 0).AddDate(0, 0, 2))
	s.swap(ines.ID, lena.ID, object{"keep_leads": false}).is(200, &out)
	require.Equal(t, []string{s.ada, s.ben}, []string{out.Visit.Services[0].LeadID, out.Other.Services[0].LeadID}, "Ben cannot straighten")
	require.True(t, out.Visit.Start.Equal(lena.Start))

	rosa, thea := book("Rosa", s.ada, "Dry cut", tuesday(10, 0).AddDate(0, 0, 3)), book("Thea", s.ben, "Dry cut", tuesday(10, 0).AddDate(0, 0, 3))
	s.swap(rosa.ID, thea.ID, nil).refused(409, "conflict")
	s.sendDue()
	s.swap(rosa.ID, thea.ID, object{"keep_leads": false}).is(200, &out)
	require.Equal(t, []string{s.ben, s.ada}, []string{out.Visit.Services[0].LeadID, out.Other.Services[0].LeadID})
	require.Equal(t, 1, s.reminders(rosa.ID)["moved waiting"], "another stylist is worth a message")
	s.sound()

	a := s.call("POST", "/v1/visits/"+rosa.ID+"/cancel", nil, "If-Match", `"v2"`).is(200, nil)
	p := s.call("POST", "/v1/visits/"+rosa.ID+"/swap", object{"other_id": mara.ID, "other_version": 2}, "If-Match", a.header.Get("ETag")).refused(409, "conflict")
	require.Contains(t, p.Detail, "cancelled")
	p = s.call("POST", "/v1/visits/"+mara.ID+"/swap", object{"other_id": rosa.ID, "other_version": 3}, "If-Match", `"v2"`).refused(409, "conflict")
	require.Contains(t, p.Detail, "cancelled")
}

// Two desks swap, move, extend and cancel the same few visits without knowing
// of each other.
func TestWhoeverChangesVisitsAtOnceLosesNoneAndBooksNothingTwice(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 1))
	var ids []string
	for i := range 6 {
		v, _ := s.book(s.client(fmt.Sprint("Client", i)), tuesday(9+i, 0), []object{s.by([]string{s.ada, s.ben}[i%2], "Dry cut")})
		ids = append(ids, v.ID)
	}
	counts := map[string]map[int]int{}
	for round := 0; round < 12 || round < 60 && counts["swap"][200] == 0; round++ {
		before := map[string]api.VisitBody{}
		tags := map[string]string{}
		for _, id := range ids {
			before[id], tags[id] = s.read(id)
		}
		var kinds []string
		pairs := map[int][2]string{}
		answers := s.atOnce(8, func(i int) request {
			a, b := ids[r.IntN(len(ids))], ids[r.IntN(len(ids))]
			what := []string{"swap", "swap", "move", "extend", "cancel"}[r.IntN(5)]
			if what == "cancel" && r.IntN(4) > 0 || what == "swap" && a == b {
				what = "move"
			}
			kinds = append(kinds, what)
			x := request{"POST", "/v1/visits/" + a + "/" + what, nil, []string{"If-Match", tags[a]}}
			switch what {
			case "swap":
				var version int
				_, err := fmt.Sscanf(tags[b], `"v%d"`, &version)
				require.NoError(t, err)
				x.body = object{"other_id": b, "other_version": version, "keep_leads": r.IntN(2) == 0}
				pairs[i] = [2]string{a, b}
			case "move":
				x.body = object{"start": tuesday(9+r.IntN(8), 15*r.IntN(4))}
			case "extend":
				x.body = object{"minutes": 1 + r.IntN(10)}
			}
			return x
		})
		for i, a := range answers {
			require.Contains(t, []int{200, 409, 412, 422}, a.status, "%s: %s, seed %d", kinds[i], a.body, seed)
			if counts[kinds[i]] == nil {
				counts[kinds[i]] = map[int]int{}
			}
			counts[kinds[i]][a.status]++
			pair, ok := pairs[i]
			if !ok || a.status != 200 {
				continue
			}
			for k, id := range pair { // both or none
				v, _ := s.read(id)
				other := before[pair[1-k]]
				require.True(t, v.Start.Equal(other.Start), "seed %d: a swap is whole, and nothing else came of the version that it raised", seed)
			}
		}
		for _, id := range ids {
			v, tag := s.read(id)
			if v.State == "booked" && tag == tags[id] {
				v.Reminders, _ = nil, tag
				old := before[id]
				old.Reminders = nil
				require.Equal(t, old, v, "seed %d: what has no new version is as it was", seed)
			}
			require.Contains(t, []string{"booked", "cancelled"}, v.State)
		}
		s.sound()
	}
	t.Logf("seed %d: %v", seed, counts)
	require.Positive(t, counts["swap"][200])
	require.Positive(t, counts["swap"][412]+counts["swap"][409])
	require.True(t, slices.ContainsFunc([]string{"move", "extend"}, func(k string) bool { return counts[k][200] > 0 }))
}
