package api_test

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

var (
	seed  = flag.Uint64("seed", 1, "seed of the random requests")
	tries = flag.Int("tries", 500, "number of random requests")
)

// imp makes up requests from the description: mostly right in form, with ids
// that exist and ids that do not, and now and then something odd.
type imp struct {
	*rand.Rand
	spec spec
	ids  []string            // of anything
	of   map[string][]string // by the name of the field, or by the first word of the path
}

// id is mostly one of the right kind.
func (r imp) id(kind string) string {
	if list := r.of[kind]; len(list) > 0 && r.chance(85) {
		return r.pick(list)
	}
	return r.pick(r.ids)
}

// nasty are texts that have broken other programs.
var nasty = []string{"", " ", "null", "0", "-1", "' OR 1=1 --", `"; DROP TABLE visit; --`, "<script>alert(1)</script>", "../../etc/passwd", "%00", "%s%n", "{{.}}", "${x}",
	"a\x00b", "line\r\nBcc: x@y.example", "\u202eabc", "👩🏽‍🦱", strings.Repeat("ß", 3000), "\\u0000", "NaN", "Infinity", "=1+1", "BEGIN:VEVENT", "2026-03-29T02:30:00+01:00"}

func (r imp) chance(percent int) bool { return r.IntN(100) < percent }

func (r imp) pick(list []string) string { return list[r.IntN(len(list))] }

func (r imp) text() string {
	if r.chance(10) {
		return r.pick(nasty)
	}
	return r.pick([]string{"Mara", "cut", "straightening", "chair", "A", "EUR", "112", "09:00", "18:00", "+49 30 901820", "a@b.example", "Quay 1"})
}

func (r imp) value(x schema, name string) any {
	x = r.spec.resolve(x)
	if r.chance(1) {
		// Null alone stands for a field that is left out, which is no fault.
		return []any{true, 1, -1.5, 1e300, "x", []any{}, object{}, []any{object{}}, []any{nil}}[r.IntN(9)]
	}
	kind, _ := x.Type.(string)
	switch {
	case len(x.Enum) > 0:
		return x.Enum[r.IntN(len(x.Enum))]
	case strings.HasSuffix(name, "_id"):
		return r.id(name)
	case x.Format == "date":
		return r.pick([]string{"2026-06-08", "2026-06-09", "2026-06-20", "2026-10-25", "2027-03-28", "2000-01-01", "2199-12-31", "2026-02-29"})
	case x.Format == "date-time":
		return r.pick([]string{"2026-06-08T09:00:00+02:00", "2026-06-09T10:15:00+02:00", "2026-10-25T02:30:00+01:00", "2027-03-28T01:30:00Z", "2199-12-31T23:59:00Z",
			"2000-01-01T00:00:00Z", "2026-06-08T09:00:00.123456789+02:00", "2026-06-10T08:00:00-11:30", "0001-01-01T00:00:00Z"})
	case kind == "string":
		return r.text()
	case kind == "boolean":
		return r.chance(50)
	case kind == "integer":
		return math.Round(r.number(x))
	case kind == "number":
		return r.number(x)
	case kind == "array":
		list := []any{}
		for range r.IntN(4) {
			list = append(list, r.value(*x.Items, name))
		}
		return list
	}
	out := object{}
	for _, p := range slices.Sorted(maps.Keys(x.Properties)) {
		if (slices.Contains(x.Required, p) && !r.chance(1)) || r.chance(20) {
			out[p] = r.value(x.Properties[p], p)
		}
	}
	return out
}

func (r imp) number(x schema) float64 {
	low, high := 0.0, 100.0
	if x.Minimum != nil {
		low = *x.Minimum
	}
	if x.Maximum != nil {
		high = *x.Maximum
	}
	switch r.IntN(12) {
	case 0:
		return low
	case 1:
		return high
	case 2:
		return high + 1
	}
	return low + r.Float64()*(high-low)
}

// request makes up one request of an operation.
func (r imp) request(method, path string, op operation) request {
	out := request{method: strings.ToUpper(method)}
	query := url.Values{}
	for _, p := range op.Parameters {
		v := r.pick([]string{r.pick(r.ids), r.text(), "2026-06-08", "20"})
		switch p.In {
		case "path":
			v = cmp.Or(v, "none") // an address without the id is another address
			if r.chance(85) {
				v = r.id(strings.Split(path, "/")[1])
			}
			if p.Name == "date" && r.chance(85) {
				v = r.pick([]string{"2026-06-08", "2026-03-29", "2026-10-25"})
			}
			path = strings.Replace(path, "{"+p.Name+"}", url.PathEscape(v+"x"[:r.IntN(2)]), 1)
		case "query":
			if v != "" && (p.Required || r.chance(60)) { // an empty one counts as left out
				query.Set(p.Name, v)
			}
		case "header":
			if v = r.pick([]string{`"v1"`, `"v1"`, `"v2"`, `W/"v1"`, "*", `"v01"`, "v1", `"v1", "v2"`, "", `"v1"`, `"v2"`, `"v3"`}); p.Name != "If-Match" {
				v = r.pick([]string{"k1", "k2", `"k3"`, "k4", "", "\xff", strings.Repeat("k", 300), `"`})
			}
			out.headers = append(out.headers, p.Name, v)
		}
	}
	out.path = "/v1" + path
	if len(query) > 0 {
		out.path += "?" + query.Encode()
	}
	if op.RequestBody != nil {
		raw, err := json.Marshal(r.value(r.spec.body(op), ""))
		if err != nil {
			panic(err) // made of nothing but JSON
		}
		out.body = string(raw)
		if r.chance(3) {
			out.body = string(raw[:r.IntN(len(raw))])
		}
	}
	return out
}

func TestNoRandomRequestBreaksTheServiceOrHalfHappens(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	r := imp{Rand: rand.New(rand.NewPCG(*seed, 20260608)), spec: readSpec(t), ids: []string{"none"}}
	t.Logf("-seed %d", *seed)
	things := s.things()
	staff, stations := []string{s.ada, s.ben, s.mina}, append(slices.Clone(s.chairs), s.basins...)
	var services []string
	for _, x := range scheduling.StandardServices() {
		services = append(services, s.services[x.Name])
	}
	r.of = map[string][]string{"staff": staff, "staff_id": staff, "lead_id": staff, "stations": stations, "unit_id": append(stations, staff...), "services": services,
		"service_id": services, "client_id": {things["clients"], s.client("Nora")}, "estimate_id": {things["estimates"]}, "subject_id": {s.ada, things["clients"]}}
	for _, kind := range slices.Sorted(maps.Keys(things)) {
		r.ids = append(r.ids, things[kind])
		if r.of[kind] == nil {
			r.of[kind] = []string{things[kind]}
		}
	}
	type route struct {
		method, path string
		op           operation
	}
	var routes []route
	for _, path := range slices.Sorted(maps.Keys(r.spec.Paths)) {
		for _, method := range slices.Sorted(maps.Keys(r.spec.Paths[path])) {
			// Some would end the game: the last token, the staff, and a stream that never ends.
			if op := r.spec.Paths[path][method]; !slices.Contains([]string{"revoke-token", "delete-staff", "watch-salon"}, op.ID) {
				routes = append(routes, route{method, path, op})
			}
		}
	}
	tables := s.tables()
	before := tables()
	statuses := map[int]int{}
	for i := range *tries {
		x := routes[r.IntN(len(routes))]
		q := r.request(x.method, x.path, x.op)
		a := s.send(q)
		for tries := 0; a.status == http.StatusServiceUnavailable && tries < 5; tries++ { // the machine is busy with something else
			require.NotEmpty(t, a.header.Get("Retry-After"))
			statuses[a.status]++
			require.Equal(t, before, tables(), "503 and yet something happened")
			a = s.send(q)
		}
		statuses[a.status]++
		after := tables()
		switch {
		case a.status >= 400:
			said := fmt.Sprintf("seed %d request %d: %s %s %s\n%s", *seed, i, q.method, q.path, q.body, a.body)
			require.Less(t, a.status, 500, said)
			require.Equal(t, "application/problem+json", a.header.Get("Content-Type"), said)
			if a.status == http.StatusConflict { // kept, so that a repetition has the same answer
				before["idempotency"] = after["idempotency"]
			}
			require.Equal(t, before, after, said)
			for _, word := range []string{"Go struct", "Go value", "SQLSTATE", "store:", "strconv", "scheduling."} {
				require.NotContains(t, string(a.body), word, said)
			}
		case q.method == http.MethodGet:
			require.Equal(t, before, after, q.path)
		default:
			r.learn(a)
		}
		before = after
	}
	t.Logf("%v", statuses)
	require.Greater(t, statuses[200]+statuses[201]+statuses[204], *tries/10, "too few get past the first checks")
}

// learn keeps the id of what was made, so that later requests are about it.
func (r imp) learn(a answer) {
	place := strings.Split(a.header.Get("Location"), "/")
	if len(place) != 4 {
		return
	}
	field := map[string]string{"staff": "staff_id", "services": "service_id", "clients": "client_id", "estimates": "estimate_id", "stations": "unit_id"}[place[2]]
	r.of[place[2]] = append(r.of[place[2]], place[3])
	if field != "" {
		r.of[field] = append(r.of[field], place[3])
	}
}
