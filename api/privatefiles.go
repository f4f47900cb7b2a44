package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"math/rand/v2"
	"mime"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"
	"github.com/rickb777/date"

	"chairblock/api/ics/read"
	"chairblock/scheduling"
	"chairblock/store"
)

// maxUpload is the largest calendar file that may be handed in, in bytes: that of what is
// fetched, outbound.DefaultBytes.
const maxUpload = 5 << 20

// uploads are the routes whose bodies are files instead of JSON.
var uploads = map[string]bool{"POST /v1/private-calendars/files": true, "PUT /v1/private-calendars/:id/file": true}

// upload makes an operation one whose body is a file. It is read as a whole
// after the caller's role has been checked, like every body.
func upload(op huma.Operation) huma.Operation {
	op.MaxBodyBytes = maxUpload + 1 // huma counts the limit itself as too large
	op.BodyReadTimeout = handlerLimit
	if at := op.Method + " /v1" + strings.ReplaceAll(op.Path, "{id}", ":id"); !uploads[at] {
		panic("a file would be read as JSON: " + at)
	}
	return op
}

// isUpload says whether a request goes to one of them.
func isUpload(c echo.Context) bool { return uploads[c.Request().Method+" "+c.Path()] }

type newPrivateFileInput struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	Staff       string `query:"staff_id" required:"true" maxLength:"64" doc:"Whose calendar it is"`
	Label       string `query:"label" doc:"What the person calls it"`
	AllDayBusy  bool   `query:"all_day_busy" doc:"Whether events of whole days count as well, if they are not marked as free"`
	RawBody     []byte `contentType:"text/calendar"`
}

type privateFileInput struct {
	ByID
	Precondition
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte `contentType:"text/calendar"`
}

// isCalendar refuses bodies that do not say that they are calendars. Programs
// that do not know files of this kind send octets.
func isCalendar(contentType string) error {
	t, _, err := mime.ParseMediaType(contentType)
	if err != nil || !slices.Contains([]string{"text/calendar", "application/octet-stream"}, t) {
		return newProblem(http.StatusUnsupportedMediaType, "media-type", "send the file as text/calendar")
	}
	return nil
}

func (s *Server) addPrivateFile(ctx context.Context, in *newPrivateFileInput) (*created[PrivateCalendarBody], error) {
	if err := isCalendar(in.ContentType); err != nil {
		return nil, err
	}
	var f scheduling.Faults
	c := store.PrivateCalendar{Staff: in.Staff, Label: text(&f, "query.label", in.Label, 0, 80), Source: store.PrivateFile, AllDayBusy: in.AllDayBusy, Active: true}
	n, err := s.newPrivate(ctx, f, "query.", in.Staff)
	if err != nil {
		return nil, err
	}
	r, err := s.readPrivate(ctx, n, c, in.RawBody)
	if err != nil {
		return nil, unreadableFile(err)
	}
	if c.Due, err = s.nextDay(n); err != nil {
		return nil, err
	}
	kept, err := r.kept(in.RawBody)
	if err != nil {
		return nil, err
	}
	return s.addRead(ctx, c, "", kept, r.busy)
}

func (s *Server) replacePrivateFile(ctx context.Context, in *privateFileInput) (*found[PrivateCalendarBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	if err := isCalendar(in.ContentType); err != nil {
		return nil, err
	}
	var n store.Salon
	var c store.PrivateCalendar
	err = s.inTx(ctx, func(t *store.Tx) (err error) {
		if c, err = lockPrivate(ctx, t, in.ID, version); err != nil {
			return err
		}
		if c.Source != store.PrivateFile {
			return newProblem(http.StatusConflict, "conflict", "this calendar is fetched from "+c.Host+": change it there, or add the file as another calendar")
		}
		n, err = t.SalonRow(ctx)
		return err
	})
	if err != nil {
		return nil, err
	}
	r, err := s.readPrivate(ctx, n, c, in.RawBody)
	if err != nil {
		return nil, unreadableFile(err)
	}
	kept, err := r.kept(in.RawBody)
	if err != nil {
		return nil, err
	}
	due, err := s.nextDay(n)
	if err != nil {
		return nil, err
	}
	var out *found[PrivateCalendarBody]
	err = s.inTx(ctx, func(t *store.Tx) error {
		if _, err := lockPrivate(ctx, t, in.ID, version); err != nil { // so its settings are those that it was read by
			return err
		}
		if err := t.ReplacePrivateFile(ctx, in.ID, kept, s.now(), due); err != nil {
			return err
		}
		if c.Active {
			if err := s.setPrivateBusy(ctx, t, in.ID, r.busy); err != nil {
				return err
			}
		}
		row, err := t.PrivateCalendarByID(ctx, in.ID)
		if err != nil {
			return err
		}
		out, err = s.withConflicts(ctx, t, row)
		return err
	})
	return out, err
}

// nextDay is when a file is worked out anew: within two hours of tomorrow's beginning
// (judgement), not for all at once.
func (s *Server) nextDay(n store.Salon) (time.Time, error) {
	loc, err := n.Location()
	if err != nil {
		return time.Time{}, err
	}
	_, midnight := scheduling.DayBounds(loc, scheduling.CivilDate(s.now(), loc))
	return midnight.Add(10*time.Minute + rand.N(2*time.Hour)), nil
}

// privateRead is a calendar file as it was understood.
type privateRead struct {
	busy     store.PrivateBusy
	problems []store.PrivateProblem
}

// kept is what is kept of the file that it was read from.
func (r privateRead) kept(file []byte) (store.PrivateReading, error) {
	bare, err := read.Bare(file)
	sum := sha256.Sum256(file)
	return store.PrivateReading{File: bare, Hash: sum[:], Problems: r.problems}, err
}

// noneReadable are the problems of a file in which nothing could be read.
type noneReadable []read.Problem

// Error is a clause about the file.
func (noneReadable) Error() string { return "holds no event that can be read" }

// toldProblems is how many problems of one file are told one by one (judgement).
const toldProblems = 50

// reading lets only so many calendar files be read at a time (judgement): the memory that
// a hostile one takes is many times its size.
var reading = make(chan struct{}, 2)

// readPrivate reads a calendar file for the days that count. It returns a
// *scheduling.InvalidError when the file is no calendar, noneReadable when
// nothing in it could be read, and an error of ctx when its turn does not come.
func (s *Server) readPrivate(ctx context.Context, n store.Salon, c store.PrivateCalendar, file []byte) (privateRead, error) {
	loc, err := n.Location()
	if err != nil {
		return privateRead{}, err
	}
	select {
	case reading <- struct{}{}:
		defer func() { <-reading }()
	case <-ctx.Done():
		return privateRead{}, ctx.Err()
	}
	cal, problems, err := read.Parse(bytes.NewReader(file), read.Options{Zone: loc, AllDayBusy: c.AllDayBusy, Limits: read.Limits{Problems: toldProblems}})
	if err != nil {
		return privateRead{}, err
	}
	first, last := privateDays(s.now(), loc)
	from, _ := scheduling.DayBounds(loc, first)
	to, _ := scheduling.DayBounds(loc, last)
	list, more := cal.Busy(from, to)
	problems = append(problems, more...)
	if len(problems) > 0 && len(list) == 0 && !slices.ContainsFunc(cal.Events, func(e read.Event) bool { return !e.Start.IsZero() }) {
		return privateRead{}, noneReadable(problems)
	}
	r := privateRead{busy: store.PrivateBusy{Zone: n.Zone, From: first, To: last, Spans: wholeMinutes(list, from, to)}}
	for _, p := range problems[:min(len(problems), toldProblems+1)] {
		r.problems = append(r.problems, store.PrivateProblem{Line: p.Line, Where: oneLine(p.Where), What: oneLine(p.What)})
	}
	return r, nil
}

// oneLine is text of a file as it may be kept.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
}

// Days for which a private calendar counts, at least (judgement).
const (
	privateBack  = 30
	privateAhead = 400 // a visit may be booked a year ahead, and a month passes before the days are moved on
)

// privateDays are the days for which a private calendar counts, the last not
// included: whole months, so that they stay the same all month.
func privateDays(now time.Time, loc *time.Location) (first, last date.Date) {
	today := scheduling.CivilDate(now, loc)
	a, b := today.Add(-privateBack), today.Add(privateAhead)
	return date.New(a.Year(), a.Month(), 1), date.New(b.Year(), b.Month()+1, 1)
}

// wholeMinutes are the busy times from..to in whole minutes, rounded outwards,
// by start; those that overlap or touch are one.
func wholeMinutes(list []read.Interval, from, to time.Time) []store.BusySpan {
	spans := make([]store.BusySpan, 0, len(list))
	for _, x := range list {
		b := store.BusySpan{From: x.Start.Truncate(time.Minute), To: x.End.Add(time.Minute - 1).Truncate(time.Minute)}
		if b.From.Before(from) {
			b.From = from
		}
		if b.To.After(to) {
			b.To = to
		}
		if b.From.Before(b.To) {
			spans = append(spans, b)
		}
	}
	slices.SortFunc(spans, func(a, b store.BusySpan) int { return a.From.Compare(b.From) })
	var out []store.BusySpan
	for _, b := range spans {
		if n := len(out) - 1; n >= 0 && !b.From.After(out[n].To) {
			if b.To.After(out[n].To) {
				out[n].To = b.To
			}
			continue
		}
		out = append(out, b)
	}
	return out
}

// unreadableFile answers for a file of which nothing is kept.
func unreadableFile(err error) error {
	if e, ok := errors.AsType[*scheduling.InvalidError](err); ok {
		return &scheduling.InvalidError{Problem: "is no calendar that can be read: it " + e.Problem, Want: e.Want}
	}
	list, ok := errors.AsType[noneReadable](err)
	if !ok {
		return err
	}
	p := newProblem(http.StatusUnprocessableEntity, "invalid", "")
	for _, x := range list {
		p.add(FieldProblem{In: "body", Detail: x.String(), Expected: "an event that can be read"})
	}
	return p.told()
}
