package api_test

import (
	"encoding/json"
	"maps"
	"path"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// echoed are places whose value may be repeated in an answer, since it says
// nothing about anybody: dates, clock times, codes and names of settings.
var echoed = []string{"/first_date", "/last_date", "/measured_on", "/end_by", "/from", "/to", "/currency", "/emergency", "/skill", "/skills/0", "/kind", "/" + mark}

// impossible are requests of the right form that ask for what cannot be.
func (s *salon) impossible() []struct {
	method, path string
	body         object
	want         string // places
} {
	things := s.things()
	cut, long := s.services["Dry cut"], s.services["Straightening"]
	with := func(change object) object {
		h := hair()
		for k, v := range change {
			h[k] = v
		}
		return h
	}
	visit := func(change object) object {
		v := object{"client_id": things["clients"], "start": "2026-06-11T10:00:00+02:00", "services": []object{{"service_id": cut}}}
		for k, x := range change {
			v[k] = x
		}
		return v
	}
	service := func(steps ...object) object {
		return object{"name": "X", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 1, "steps": steps}
	}
	step := func(change object) object {
		x := object{"kind": "cut", "label": "Cut", "who": "lead", "where": "chair", "minutes": 20, "hands_on": true}
		for k, v := range change {
			x[k] = v
		}
		return x
	}
	week := func(list ...object) object { return object{"open": list} }
	window := func(day int, from, to string) object { return object{"weekday": day, "from": from, "to": to} }
	put := "PUT"
	post := "POST"
	return []struct {
		method, path string
		body         object
		want         string
	}{
		{post, "visits", visit(object{"start": "2026-06-08T07:44:00+02:00"}), "/start"},
		{post, "visits", visit(object{"start": "2026-06-11T10:00:30+02:00"}), "/start"},
		{post, "visits", visit(object{"start": "2026-06-11T10:00:00.5+02:00"}), "/start"},
		{post, "visits", visit(object{"start": "9999-06-11T10:00:00+02:00"}), "/start"},
		{post, "visits", visit(object{"start": "2026-06-08T06:00:01+02:00", "client_id": "nobody", "note": "a\tb", "services": []object{{"service_id": "none"}, {"service_id": cut, "hair": hair()}, {"service_id": long}}}),
			"/client_id /note /services/0/service_id /services/1 /services/2 /start /start"},
		{post, "visits", visit(object{"services": []object{{"service_id": long, "hair": hair(), "estimate_id": "x"}}}), "/services/0"},
		{post, "visits", visit(object{"services": []object{{"service_id": long, "estimate_id": "x"}}}), "/services/0/estimate_id"},
		{post, "visits", visit(object{"services": []object{{"service_id": long, "estimate_id": things["estimates"]}}, "client_id": s.client("Nora")}), "/services/0/estimate_id"},
		{post, "visits", visit(object{"services": []object{{"service_id": cut, "lead_id": s.mina}}}), "/services/0/lead_id"},
		{post, "openings", object{"services": []object{{"service_id": cut}}, "first_date": "2026-06-08", "last_date": "2026-08-10"}, "/last_date"},
		{post, "openings", object{"services": []object{{"service_id": cut}}, "first_date": "2026-06-08", "last_date": "2026-06-07", "end_by": "25:00"}, "/end_by /last_date"},
		{post, "openings", object{"services": []object{{"service_id": "x"}}, "client_id": "x", "end_by": "5pm"}, "/client_id /end_by /services/0/service_id"},
		{post, "estimates", object{"service_id": long, "hair": with(object{"regrowth_cm": 36})}, "/hair/regrowth_cm"},
		{post, "estimates", object{"service_id": cut, "hair": with(object{"regrowth_cm": 36}), "head_id": "x"}, "/hair/regrowth_cm /head_id /service_id"},
		{post, "estimates", object{"service_id": long, "client_id": things["clients"], "head_id": "x", "hair": hair()}, "/head_id"},
		{post, "clients/" + things["clients"] + "/heads", object{"measured_on": "1999-12-31", "hair": with(object{"regrowth_cm": 36})}, "/hair/regrowth_cm /measured_on"},
		{post, "clients", object{"given_name": " ", "mail": "nobody", "phone": "12", "contact_by": "text"}, "/given_name /mail /phone"},
		{post, "clients", object{"given_name": "A", "contact_by": "mail"}, "/contact_by"},
		{post, "clients", object{"given_name": "A", "contact_by": "call", "mail": "a@b.example\nBcc: c@d.example"}, "/contact_by /mail"},
		{post, "closures", object{"first_date": "2026-12-26", "last_date": "2026-12-24"}, "/last_date"},
		{post, "absences", object{"unit_id": "x", "from": "2026-07-01T12:00:00+02:00", "to": "2026-07-01T12:00:00+02:00"}, "/to /unit_id"},
		{post, "absences", object{"unit_id": s.ada, "from": "2026-07-01T12:00:01+02:00", "to": "2027-07-03T12:00:00+02:00"}, "/from /to"},
		{put, "hours", week(window(1, "24:00", "10:00"), window(2, "9:00", "18:00"), window(3, "09:00", "18.00")), "/open/0/from /open/1/from /open/2/to"},
		{put, "hours", week(window(1, "09:00", "13:00"), window(1, "12:59", "18:00")), "/open"},
		{put, "pace-settings", object{"counts_from": "2026-02-28", "staff": []object{{"staff_id": "x"}, {"staff_id": s.ben}, {"staff_id": s.ben}}, "constants": object{"noise_sd": 7, "prior_sd": 0.01}},
			"/constants/noise_sd /constants/prior_sd /staff/0/staff_id /staff/2/staff_id"},
		{put, "pace-settings", object{"constants": object{"noise": 0.2}}, "/constants/noise"},
		{post, "estimates", object{"service_id": long, "lead_id": s.mina, "hair": hair()}, "/lead_id"},
		{post, "openings", object{"services": []object{{"service_id": long, "hair": hair(), "pace": "lead"}}}, "/services/0/pace"},
		{put, "hours", week(window(7, "20:00", "02:00"), window(1, "01:00", "18:00")), "/open"},
		{put, "staff/" + s.ada + "/hours", object{"work": []object{window(1, "09:00", "13:00"), window(1, "09:00", "18:00")}, "breaks": []object{window(1, "x", "12:00")}}, "/breaks/0/from /work"},
		{post, "services", service(step(object{"minutes": 0})), "/steps/0/minutes"},
		{post, "services", service(step(object{"formula": "head"})), "/steps/0/kind"},
		{post, "services", service(step(object{"kind": "iron", "formula": "head"})), "/steps/0/minutes"},
		{post, "services", service(step(object{"watched": true}), step(object{"who": "nobody"}), step(object{"wait_min_minutes": 5, "label": ""})), "/steps/0/watched /steps/1/who /steps/2/label /steps/2/wait_min_minutes"},
		{post, "services", service(step(object{"kind": "Cut!"})), "/steps/0/kind"},
		{post, "staff", object{"name": "", "initials": "TOO LONG", "may_lead": true, "skills": []string{"cut", "Not A Skill"}, "mail": "x"}, "/initials /mail /name /skills/1"},
		{post, "stations", object{"kind": "stylist", "name": "X", "changeover_minutes": 1}, "/kind"},
		{put, "stations/" + s.chairs[0], object{"kind": "basin", "name": "X", "changeover_minutes": 1}, "/kind"},
		{post, "tokens", object{"role": "desk", "label": "x", "expires_at": "2026-06-08T07:59:00+02:00", "staff_id": "x"}, "/expires_at /staff_id"},
		{post, "feeds", object{"kind": "client", "subject_id": s.ada}, "/subject_id"},
		{put, "salon", object{"name": "", "currency": "eur", "length_unit": "cm", "heat_unit": "C", "address": "", "phone": "12", "mail": "x", "emergency": "call", "chair_time": object{"no_such": 1, "press_fine_seconds": 1e9}},
			"/chair_time/no_such /chair_time/press_fine_seconds /currency /emergency /mail /name /phone"},
		{post, "visits/" + things["visits"] + "/move", object{"start": "2026-06-07T10:00:00+02:00", "lead_id": "x"}, "/lead_id /start"},
		{post, "visits/" + things["visits"] + "/finish", object{"ended_at": "2026-06-08T07:00:00+02:00"}, "/ended_at"},
	}
}

func TestEveryImpossibleWishIsNamedAndChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	list := s.impossible()
	tables := s.tables()
	before := tables()
	for _, x := range list {
		t.Run(strings.Split(x.path, "/")[0]+strings.ReplaceAll(x.want, "/", "_"), func(t *testing.T) {
			s := *s
			s.t = t
			a := s.call(x.method, "/v1/"+x.path, x.body, "If-Match", `"v1"`, "Idempotency-Key", "impossible")
			places := pointers(a.refused(422, "invalid"))
			slices.Sort(places)
			require.Equal(t, x.want, strings.ReplaceAll(strings.Join(places, " "), "body ", ""), "%s", a.body)
		})
	}
	require.Equal(t, before, tables())
}

func TestEveryFaultOfEveryFieldIsNamedAndChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	sp := readSpec(t)
	requests := s.requests()
	tables := s.tables()
	before := tables()
	tried := 0
	for _, ops := range sp.Paths {
		for _, method := range slices.Sorted(maps.Keys(ops)) {
			op := ops[method]
			if op.RequestBody == nil || isFile(op) {
				continue
			}
			r := requests[op.ID]
			for _, w := range sp.wrongs(t, r.body, sp.body(op)) {
				if strings.HasPrefix(w.at, "/chair_time/") { // its names are checked below
					continue
				}
				if op.ID == "sign-in" && w.at == "/password" && slices.Contains([]string{"control characters", "line separator"}, w.what) {
					continue // any password may be tried, and is wrong
				}
				body, err := json.Marshal(w.body)
				require.NoError(t, err)
				a := s.patient(r.method, r.path, string(body), r.headers...)
				name := op.ID + ": " + w.what + " at " + w.at
				require.Equal(t, 422, a.status, "%s: %s", name, a.body)
				p := a.refused(422, "invalid")
				require.True(t, names(p, w.at), "%s is answered with %v", name, p.Errors)
				for _, e := range p.Errors {
					require.NotEmpty(t, e.Detail, name)
					require.NotEmpty(t, e.Expected, name)
				}
				plainAnswer(t, name, w.at, a)
				tried++
			}
		}
		require.Equal(t, before, tables())
	}
	t.Logf("%d wrong bodies", tried)
	require.Greater(t, tried, 1000)
}

// names reports whether a problem says that at is wrong: there, in something
// inside, or in words about what it stands in.
func names(p api.Problem, at string) bool {
	parent, name := path.Split(at)
	return slices.ContainsFunc(p.Errors, func(e api.FieldProblem) bool {
		return e.Pointer == at || strings.HasPrefix(e.Pointer, at+"/") ||
			e.Pointer+"/" == parent && strings.Contains(e.Detail+e.Expected, name)
	})
}

// plainAnswer checks that an answer shows no value of the request that might
// be about health, no name of a Go type, and is short.
func plainAnswer(t testing.TB, name, at string, a answer) {
	t.Helper()
	body := string(a.body)
	if !slices.ContainsFunc(echoed, func(e string) bool { return strings.HasSuffix(at, e) }) {
		require.NotContains(t, body, mark, name)
	}
	for _, word := range []string{"Go struct", "Go value", "json:", "time.Time", "api.", "scheduling.", "SQLSTATE", "store:", "panic", "huma"} {
		require.NotContains(t, body, word, name)
	}
	require.Less(t, len(body), 64<<10, name)
}
