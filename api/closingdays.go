package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/api/ics/read"
	"chairblock/scheduling"
	"chairblock/store"
)

// ClosingDaysRequest holds a calendar of holidays.
type ClosingDaysRequest struct {
	Calendar string `json:"calendar" maxLength:"250000" doc:"The text of an iCalendar file"`
}

// ClosingDaysBody are days on which the salon could stay shut. Nothing is noted.
type ClosingDaysBody struct {
	Items []ClosureBody `json:"items" nullable:"false" doc:"Whole days of the calendar from today to two years from now, without those that are closing days already; of a series the first"`
}

type closingDaysInput struct{ Body ClosingDaysRequest }

func (s *Server) closingDaysRoutes() {
	route(s, huma.Operation{OperationID: "read-closing-days", Method: http.MethodPost, Path: "/closures/proposals",
		Summary: "Read the whole days of a calendar file as proposals for closing days; nothing is noted"}, s.readClosingDays)
}

const (
	closingDaysAhead = 731 // two years (judgement)
	mostClosingDays  = 200 // proposals, more than any year has holidays (judgement)
	longestReason    = 200 // characters, as closures take them
)

func (s *Server) readClosingDays(ctx context.Context, in *closingDaysInput) (*struct{ Body ClosingDaysBody }, error) {
	out := ClosingDaysBody{Items: []ClosureBody{}}
	err := s.read(ctx, func(t *store.Tx) error {
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		cal, _, err := read.Parse(strings.NewReader(in.Body.Calendar), read.Options{Zone: loc})
		if err != nil {
			return &scheduling.InvalidError{Field: "calendar", Problem: "cannot be read as a calendar file", Want: "the text of a file that begins with BEGIN:VCALENDAR"}
		}
		today := scheduling.CivilDate(s.now(), loc)
		closed, err := t.Closures(ctx, today)
		if err != nil {
			return err
		}
		out.Items = proposals(cal, summaries(in.Body.Calendar), closed, today)
		return nil
	})
	return &struct{ Body ClosingDaysBody }{out}, err
}

// proposals are the whole days of cal to come that nobody has noted yet, in order.
func proposals(cal *read.Calendar, names map[string]string, closed []store.Closure, today date.Date) []ClosureBody {
	out := []ClosureBody{}
	for _, e := range cal.Events {
		if !e.AllDay || e.Start.IsZero() || e.Status == "CANCELLED" {
			continue
		}
		first, last := date.NewAt(e.Start), date.NewAt(e.End).Add(-1) // the end is the day after
		if last.Before(first) {
			last = first
		}
		known := slices.ContainsFunc(closed, func(c store.Closure) bool { return !c.First.After(first) && !c.Last.Before(last) })
		if known || last.Before(today) || first.After(today.Add(closingDaysAhead)) {
			continue
		}
		reason := []rune(names[e.UID])
		b := ClosureBody{First: first.String(), Last: last.String(), Reason: string(reason[:min(len(reason), longestReason)])}
		if !slices.ContainsFunc(out, func(o ClosureBody) bool { return o.First == b.First && o.Last == b.Last && o.Reason == b.Reason }) {
			out = append(out, b)
		}
	}
	slices.SortStableFunc(out, func(a, b ClosureBody) int { return strings.Compare(a.First, b.First) })
	return out[:min(len(out), mostClosingDays)]
}

// summaries are the names of events by their UID. Lines are unfolded as RFC 5545
// 3.1 says, and text is read as 3.3.11 says.
func summaries(calendar string) map[string]string {
	unfold := strings.NewReplacer("\r\n ", "", "\r\n\t", "", "\n ", "", "\n\t", "")
	plain := strings.NewReplacer(`\\`, `\`, `\n`, " ", `\N`, " ", `\,`, ",", `\;`, ";")
	out := map[string]string{}
	var uid, name string
	for line := range strings.Lines(unfold.Replace(calendar)) {
		key, value, _ := strings.Cut(strings.TrimRight(line, "\r\n"), ":")
		key, _, _ = strings.Cut(key, ";")
		switch strings.ToUpper(key) {
		case "BEGIN":
			if strings.EqualFold(value, "VEVENT") {
				uid, name = "", ""
			}
		case "UID":
			uid = value
		case "SUMMARY":
			name = strings.Join(strings.Fields(plain.Replace(value)), " ")
		case "END":
			if strings.EqualFold(value, "VEVENT") && out[uid] == "" {
				out[uid] = name
			}
		}
	}
	return out
}
