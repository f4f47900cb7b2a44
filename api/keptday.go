package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/store"
)

// keptDayBytes is how much of days' answers a process keeps: some hundred full days of
// 60 to 100 kB each (judgement).
const keptDayBytes = 32 << 20

// dayKinds are the kinds of changes under which is noted what a day is read from.
var dayKinds = []store.ChangeKind{store.ChangeVisit, store.ChangeDay, store.ChangeQuiet}

// dayAnswer is a day as JSON, in front of when it was read and behind it.
type dayAnswer struct {
	front, back []byte
	zone        *time.Location
}

type dayOutput struct{ Body func(huma.Context) }

// dayResponse describes what getDay writes.
func dayResponse(api huma.API) map[string]*huma.Response {
	schema := api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[DayBody](), true, "DayBody")
	return map[string]*huma.Response{strconv.Itoa(http.StatusOK): {Description: http.StatusText(http.StatusOK),
		Content: map[string]*huma.MediaType{"application/json": {Schema: schema}}}}
}

// keptDay is a day of the caller's salon, the same for all callers.
func (s *Server) keptDay(ctx context.Context, d date.Date) (dayAnswer, error) {
	return stillStanding(ctx, s, &s.days, d.String(), dayKinds, func(t *store.Tx) (workedOut[dayAnswer], error) {
		x, b, err := s.readDay(ctx, t, d)
		if err != nil {
			return workedOut[dayAnswer]{}, err
		}
		a, err := encodeDay(b, x.n.loc)
		return workedOut[dayAnswer]{a, len(a.front) + len(a.back), x.about()}, err
	})
}

// encodeDay writes a day as the framework would.
func encodeDay(b DayBody, zone *time.Location) (dayAnswer, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(b); err != nil {
		return dayAnswer{}, fmt.Errorf("api: day: %w", err)
	}
	at, err := json.Marshal(b.AsOf)
	if err != nil {
		return dayAnswer{}, fmt.Errorf("api: day: %w", err)
	}
	front, back, _ := bytes.Cut(out.Bytes(), append([]byte(`"as_of":`), at...))
	return dayAnswer{append(front[:len(front):len(front)], `"as_of":`...), back, zone}, nil
}

// write answers with the day as it still is now.
func (a dayAnswer) write(now time.Time) func(huma.Context) {
	return func(c huma.Context) {
		at, err := now.In(a.zone).MarshalJSON()
		if err != nil { // a year of five digits
			at = []byte("null")
		}
		c.SetHeader("Content-Type", "application/json")
		c.SetHeader("Content-Length", strconv.Itoa(len(a.front)+len(at)+len(a.back)))
		c.SetStatus(http.StatusOK)
		for _, part := range [][]byte{a.front, at, a.back} {
			if _, err := c.BodyWriter().Write(part); err != nil {
				return // the client hung up
			}
		}
	}
}

// about is the stretch of time that the day is read of, and the visits of other days
// that it tells something of.
func (x *dayView) about() store.Stretch {
	out := store.Stretch{From: x.from, To: x.to}
	if x.pastMidnight() {
		h := around(x.n.loc, x.date, x.date)
		out.From, out.To = h.Origin, h.Time(h.Length)
	}
	for _, v := range x.visits {
		if v.Parent != nil {
			out.Visits = append(out.Visits, *v.Parent)
		}
	}
	return out
}
