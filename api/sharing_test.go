package api_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling/openings"
)

// colleague adds a stylist who works like the others.
func (s *salon) colleague(name string, skills ...string) string {
	s.t.Helper()
	var p api.StaffBody
	s.call("POST", "/v1/staff", object{"name": name, "initials": name[:1], "may_lead": true, "skills": skills}).is(201, &p)
	var windows []object
	for d := 1; d <= 6; d++ {
		windows = append(windows, object{"weekday": d, "from": "09:00", "to": "18:00"})
	}
	tag := s.call("GET", "/v1/staff/"+p.ID+"/hours", nil).header.Get("ETag")
	s.call("PUT", "/v1/staff/"+p.ID+"/hours", object{"work": windows, "breaks": []object{}}, "If-Match", tag).is(200, nil)
	return p.ID
}

// between asks for every minute at which services can start from..to.
func (s *salon) between(from, to time.Time, services ...object) map[string]api.OpeningBody {
	s.t.Helper()
	out := map[string]api.OpeningBody{}
	date := from.Format(time.DateOnly)
	for _, o := range s.openings(services, object{"first_date": date, "last_date": date, "grid_minutes": 1, "limit": 200, "not_before": from}).Openings {
		if o.Start.After(to) {
			break
		}
		out[o.Start.Format("15:04")] = o
	}
	return out
}

// The chances below were worked out apart, with Python's math.erfc: a cut of 30
// minutes with a spread of 7.5 in what is left of 45 minutes.
func TestASecondClientIsOfferedWithinTheLimit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	// Ben colours from 9:00 to 9:30 and dries from 10:15; Mina rinses at 10:05.
	colour, _ := s.book(s.client("Mara"), june(16, 9, 0), []object{s.by(s.ben, "Root colour")})
	require.True(t, colour.End.Equal(june(16, 10, 40)))
	cut := s.by(s.ben, "Dry cut")
	got := s.between(june(16, 9, 0), june(16, 10, 45), cut)
	var starts []string
	for m := 0; m < 105; m++ {
		if at := june(16, 9, m).Format("15:04"); got[at].LeadID != "" {
			starts = append(starts, at)
		}
	}
	require.Equal(t, []string{"09:30", "09:31", "10:40", "10:41", "10:42", "10:43", "10:44"}, starts)
	require.Empty(t, got["10:40"].Shares)
	o := got["09:31"]
	require.Len(t, o.Shares, 1)
	x := o.Shares[0]
	require.Equal(t, s.ben, x.UnitID)
	require.True(t, x.From.Equal(june(16, 9, 31)) && x.To.Equal(june(16, 10, 1)))
	require.InDelta(t, 0.0466, x.Chance, 5e-5) // worked out apart, see scheduling/openings; so is that of 9:30
	require.Equal(t, "Ben works inside another client's root colour time from 09:31 to 10:01; 5 in 100 that it runs over", x.Words)
	require.Equal(t, "Tue 16 June 09:31 to 10:01 with Ben, chair 2; "+x.Words, o.Words)
	require.InDelta(t, 0.0384, got["09:30"].Shares[0].Chance, 5e-5)

	// Anybody: somebody else is tried before a start is dropped.
	for at, lead := range map[string]string{"09:31": s.ada, "09:32": s.ada, "10:00": s.ada} {
		o := s.between(june(16, 9, 30), june(16, 10, 0), s.service("Dry cut"))[at]
		require.Equal(t, lead, o.LeadID, at)
	}
	s.book(s.client("Thea"), june(16, 9, 20), []object{s.by(s.ada, "Patch test")}) // to 9:25
	n := s.client("Nora")
	p := s.ask(n, june(16, 9, 32), "", cut).refused(409, "taken")
	require.Equal(t, "Ben works inside another client's root colour time from 09:32 to 10:02; 6 in 100 that it runs over, and this salon allows 5 in 100 at most", p.Detail)
	require.Len(t, p.Alternatives, 3)
	require.Equal(t, "10:45", p.Alternatives[0].Start.Format("15:04"))
	s.rules(object{"share_overrun_limit": 0.06}).is(200, nil)
	v, tag := s.book(n, june(16, 9, 32), []object{cut})
	require.Equal(t, s.ben, v.Services[0].LeadID)
	s.rules(object{"share_overrun_limit": 0.0}).is(200, nil)
	p = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": june(16, 9, 31)}, "If-Match", tag).refused(409, "taken")
	require.Contains(t, p.Detail, "and this salon allows 0 in 100 at most")
	require.Empty(t, s.between(june(16, 9, 26), june(16, 10, 39), cut))

	// Another salon has the same time to itself.
	other := s.neighbour()
	for _, o := range other.between(june(16, 9, 26), june(16, 10, 39), other.by(other.ben, "Dry cut")) {
		require.Empty(t, o.Shares)
	}
}

func TestTimeIsSharedWhicheverClientIsBookedFirst(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.book(s.client("Mara"), june(16, 10, 0), []object{s.by(s.ben, "Dry cut")})
	// A colour from 9:29 on has its time from 9:59 to 10:44, one from 9:15 to 10:30.
	colour := s.by(s.ben, "Root colour")
	got := s.between(june(16, 9, 0), june(16, 9, 45), colour)
	require.Equal(t, "Ben works for another client from 10:00 to 10:30, inside this one's root colour time; 5 in 100 that it runs over", got["09:29"].Shares[0].Words)
	require.InDelta(t, 0.0466, got["09:29"].Shares[0].Chance, 5e-5)
	require.InDelta(t, 0.0384, got["09:30"].Shares[0].Chance, 5e-5)
	require.Len(t, got, 2)
	p := s.ask(s.client("Nora"), june(16, 9, 28), "", colour).refused(409, "taken")
	require.Contains(t, p.Detail, "Ben works for another client from 10:00 to 10:30, inside this one's root colour time; 6 in 100")
	s.ask(s.client("Nora"), june(16, 9, 29), "", colour).is(201, nil)
}

// TestAnEstimateSaysHowLongSharedWorkTakes has the same two visits booked in
// either order: what the estimate knows counts both times.
func TestAnEstimateSaysHowLongSharedWorkTakes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.rules(object{"share_overrun_limit": 0.5}).is(200, nil)
	var x api.ServiceBody
	s.call("POST", "/v1/services", object{"name": "Detangle", "skill": "", "chemical": false, "aftercare": false, "price_cents": 900, "clear_minutes": 0,
		"steps": []object{{"kind": "prep", "label": "detangle", "who": "lead", "where": "chair", "formula": "head", "hands_on": true},
			{"kind": "finish", "label": "finish", "who": "lead", "where": "chair", "formula": "head", "hands_on": true}}}).is(201, &x)
	var e api.EstimateAnswer
	s.call("POST", "/v1/estimates", object{"service_id": x.ID, "hair": hair()}).is(201, &e)
	mean, spread, booked := 0.0, 0.0, 0
	for _, st := range e.Estimate.Steps {
		if st.Kind == "prep" || st.Kind == "finish" {
			mean += st.MeanMinutes
			booked += st.BookedMinutes
		}
	}
	for _, b := range s.settings() {
		if b.Name == "spread_prep" || b.Name == "spread_finish" {
			spread = b.Value // the same for both
		}
	}
	require.NotZero(t, spread)
	detangle := object{"service_id": x.ID, "hair": hair(), "lead_id": s.ben}
	colour := s.by(s.ben, "Root colour")
	want := openings.Effort{Mean: mean, SD: spread * mean}.Exceeds(35)
	require.Less(t, booked, 35)
	s.book(s.client("Mara"), june(16, 9, 0), []object{colour}) // its time ends at 10:15
	guest := s.between(june(16, 9, 40), june(16, 9, 40), detangle)["09:40"]
	require.InDelta(t, want, guest.Shares[0].Chance, 1e-3)
	s.book(s.client("Nora"), june(17, 9, 40), []object{detangle})
	host := s.between(june(17, 9, 0), june(17, 9, 0), colour)["09:00"]
	require.InDelta(t, want, host.Shares[0].Chance, 1e-3)
	require.Equal(t, guest.Shares[0].Chance, host.Shares[0].Chance)
}

func TestVisitsThatBelongTogetherShareTimeWithinTheLimit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.rules(object{"arrive_together_minutes": 60}).is(200, nil)
	colour, cut := s.by(s.ben, "Root colour"), s.by(s.ben, "Dry cut")
	p := s.groupCall("arrive_together", s.visitOf("Mara", june(16, 9, 0), colour), s.visitOf("Nora", june(16, 9, 32), cut)).refused(409, "taken")
	require.Contains(t, p.Detail, "inside this one's root colour time; 6 in 100 that it runs over")
	got := s.groupOpenings("arrive_together", "2026-06-16", object{"limit": 3}, []object{colour}, []object{cut})
	require.Len(t, got.Openings, 3)
	require.Contains(t, got.Openings[0].Words, "4 in 100 that it runs over")
	require.Len(t, got.Openings[0].Visits[0].Shares, 1)
	s.offered("arrive_together", got.Openings[0], []object{colour}, []object{cut})
}

func TestANamedWatcherWatchesAndTheStylistInChargeIsFree(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	cleo := s.colleague("Cleo", "straightening")
	watched := func(more object) object {
		out := object{"service_id": s.services["Straightening"], "hair": hair(), "lead_id": s.ada, "watcher_id": cleo}
		for k, v := range more {
			out[k] = v
		}
		return out
	}
	other := s.neighbour()
	for _, bad := range []struct {
		service object
		says    string
	}{
		{watched(object{"watcher_id": other.ada}), "is not known"},
		{watched(object{"watcher_id": s.mina}), "is nobody who may watch"},
		{watched(object{"watcher_id": s.ben}), "without the skill straightening"},
		{watched(object{"watcher_id": s.ada}), "is the stylist in charge"},
		{object{"service_id": s.services["Dry cut"], "watcher_id": s.ben}, "nobody watches in this service"},
	} {
		p := s.call("POST", "/v1/openings", object{"services": []object{bad.service}}).refused(422, "invalid")
		require.Equal(t, []string{"body /services/0/watcher_id"}, pointers(p))
		require.Contains(t, p.Detail, bad.says)
	}
	mara := s.client("Mara")
	v, tag := s.book(mara, june(16, 9, 0), []object{watched(nil)})
	who := func(v api.VisitBody, kind string) map[string]string {
		for _, st := range v.Steps {
			if st.Kind == kind {
				out := map[string]string{}
				for _, u := range st.Units {
					out[u.Role] = u.UnitID
				}
				return out
			}
		}
		return nil
	}
	for _, kind := range []string{"process", "dwell"} {
		got := who(v, kind)
		require.Equal(t, cleo, got["watcher"], kind)
		require.NotContains(t, got, "lead", kind)
	}
	require.Equal(t, s.ada, who(v, "iron")["lead"])
	summaries := func(staff string) (out []string) {
		_, events := s.feed("staff", staff).events()
		for _, e := range events {
			out = append(out, fmt.Sprint(e.Summary, " ", e.Transp))
		}
		return out
	}
	process := v.Steps[4]
	require.Contains(t, summaries(s.ada), fmt.Sprintf("With Cleo, watching · free until %s · M. Q. TRANSPARENT", process.End.Format("15:04")))
	busy := 0
	for _, line := range summaries(cleo) {
		require.Regexp(t, `^Watching, checks? \d\d:\d\d.* · M\. Q\. OPAQUE$`, line)
		busy++
	}
	require.Equal(t, 2, busy)

	// While Cleo watches, somebody else may have Ada for five minutes.
	test := s.by(s.ada, "Patch test")
	o := s.between(process.Start, process.Start, test)[process.Start.Format("15:04")]
	require.Equal(t, s.ada, o.Shares[0].UnitID)
	require.Contains(t, o.Words, "inside another client's straightening time")
	require.Contains(t, o.Words, "less than 1 in 100 that it runs over")
	require.Empty(t, s.between(process.Start, process.Start, s.by(cleo, "Patch test")), "Cleo is busy")

	// A cut fits whole until she has to iron, but is too likely to overrun: Ben does it.
	iron := v.Steps[7]
	require.Equal(t, "iron", iron.Kind)
	tight := iron.Start.Add(-31 * time.Minute)
	require.False(t, tight.Before(process.Start))
	o = s.between(tight, tight, s.service("Dry cut"))[tight.Format("15:04")]
	require.Equal(t, s.ben, o.LeadID)
	require.Empty(t, o.Shares)
	cut, cutTag := s.book(s.client("Thea"), tight, []object{s.service("Dry cut")})
	require.Equal(t, s.ben, cut.Services[0].LeadID)
	s.call("POST", "/v1/visits/"+cut.ID+"/cancel", nil, "If-Match", cutTag).is(200, nil)

	// A move keeps the watcher, who cannot become the one in charge.
	move := func(body object) answer { return s.call("POST", "/v1/visits/"+v.ID+"/move", body, "If-Match", tag) }
	p := move(object{"start": june(17, 9, 0), "lead_id": cleo}).refused(422, "invalid")
	require.Contains(t, p.Detail, "no stylist besides the one who watches")
	tag = move(object{"start": june(17, 9, 0)}).is(200, &v).header.Get("ETag")
	require.Equal(t, cleo, who(v, "process")["watcher"])
	tag = move(object{"start": june(18, 9, 0), "any_lead": true}).is(200, &v).header.Get("ETag")
	require.Equal(t, s.ada, v.Services[0].LeadID)
	require.Equal(t, cleo, who(v, "dwell")["watcher"])

	// Without one the stylist in charge watches, and nobody shares her time.
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	plain, _ := s.book(mara, june(19, 9, 0), []object{watched(object{"watcher_id": ""})})
	require.Equal(t, s.ada, who(plain, "process")["lead"])
	at := plain.Steps[4].Start
	require.Empty(t, s.between(at, at, test))
}

func TestAStylistAloneClearsTheChairHerself(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	cut := s.by(s.ada, "Dry cut")
	s.book(s.client("Mara"), june(16, 10, 0), []object{cut})
	require.NotEmpty(t, s.between(june(16, 10, 30), june(16, 10, 30), cut), "there is an assistant")
	s.rules(object{"stylist_clears": "always"}).is(200, nil)
	v, _ := s.book(s.client("Nora"), june(16, 12, 0), []object{cut})
	require.True(t, v.End.Equal(june(16, 12, 30)), "the client leaves as before")
	require.Len(t, v.Steps, 1)
	got := s.between(june(16, 12, 28), june(16, 12, 34), cut)
	require.Len(t, got, 2)
	require.True(t, got["12:33"].End.Equal(june(16, 13, 3)))
	require.Zero(t, got["12:33"].WaitMinutes)
	p := s.ask(s.client("Ines"), june(16, 12, 32), "", cut).refused(409, "taken")
	require.Equal(t, "12:45", p.Alternatives[0].Start.Format("15:04"))
	// What comes before keeps the time free, too: 11:27 to 11:57 and three minutes.
	got = s.between(june(16, 11, 25), june(16, 11, 31), cut)
	require.Contains(t, got, "11:27")
	require.NotContains(t, got, "11:28")
	require.NotContains(t, s.between(june(16, 17, 25), june(16, 17, 35), cut), "17:28", "she clears it before the salon closes")
	require.Contains(t, s.between(june(16, 17, 25), june(16, 17, 35), cut), "17:27")
	for _, b := range s.day("2026-06-16").Units {
		if b.UnitID == s.ada {
			require.True(t, b.Bookings[1].To.Equal(june(16, 12, 33)))
		}
	}
	s.rules(object{"stylist_clears": "never"}).is(200, nil)
	require.Contains(t, s.between(june(16, 15, 0), june(16, 15, 0), cut), "15:00")
	s.book(s.client("Thea"), june(16, 15, 0), []object{cut})
	require.Contains(t, s.between(june(16, 15, 30), june(16, 15, 30), cut), "15:30")

	// auto: as soon as nobody assists here any more.
	s.rules(nil).is(200, nil)
	tag := s.call("GET", "/v1/staff/"+s.mina, nil).header.Get("ETag")
	s.call("DELETE", "/v1/staff/"+s.mina, nil, "If-Match", tag).is(204, nil)
	s.book(s.client("Lena"), june(17, 10, 0), []object{cut})
	require.NotContains(t, s.between(june(17, 10, 30), june(17, 10, 33), cut), "10:32")
	colour := s.by(s.ben, "Root colour")
	v, _ = s.book(s.client("Vera"), june(17, 12, 0), []object{colour})
	got = s.between(v.End, v.End.Add(12*time.Minute), s.by(s.ben, "Patch test"))
	require.Contains(t, got, v.End.Add(10*time.Minute).Format("15:04"))
	require.NotContains(t, got, v.End.Add(9*time.Minute).Format("15:04"))
}
