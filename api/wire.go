package api

import (
	"context"
	"fmt"
	"net/http"
	"net/mail"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/nyaruka/phonenumbers"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// ByID is the path of one thing.
type ByID struct {
	ID string `path:"id" maxLength:"64" doc:"Id as given when it was added"`
}

// Precondition is the precondition of a change.
type Precondition struct {
	IfMatch string `header:"If-Match" doc:"ETag as last read; required" example:"\"v3\""`
}

// version reads the precondition. It compares strongly: a weak tag never
// matches.
func (m Precondition) version() (int64, error) {
	tag, err := m.tag()
	if err != nil {
		return 0, err
	}
	v, ok := strings.CutPrefix(strings.Trim(tag, `"`), "v")
	n, err := strconv.ParseInt(v, 10, 64)
	if !ok || err != nil || n < 1 || etag(n) != tag {
		return 0, scheduling.ErrStale
	}
	return n, nil
}

// tag is the ETag that was sent. Whoever asks for any version would overwrite
// what somebody else has changed.
func (m Precondition) tag() (string, error) {
	tag := strings.TrimSpace(m.IfMatch)
	if tag == "" || tag == "*" {
		return "", newProblem(http.StatusPreconditionRequired, "if-match", "send the ETag that you last read")
	}
	return tag, nil
}

func etag(version int64) string { return fmt.Sprintf(`"v%d"`, version) }

// empty is the input or the answer of an operation without fields.
type empty struct{}

// found is an answer with an ETag.
type found[T any] struct {
	ETag string `header:"ETag"`
	Body T
}

// created is the answer to an addition.
type created[T any] struct {
	Location string `header:"Location"`
	ETag     string `header:"ETag"`
	Replayed string `header:"Idempotent-Replayed" doc:"true when the answer is the one given before"`
	Body     T
}

// listBody is an answer that holds everything.
type listBody[T any] struct {
	Body struct {
		Items []T `json:"items" nullable:"false"`
	}
}

func listOf[T, R any](rows []R, f func(R) T) *listBody[T] {
	var out listBody[T]
	out.Body.Items = make([]T, len(rows))
	for i, r := range rows {
		out.Body.Items[i] = f(r)
	}
	return &out
}

// text cleans one line of text and notes what is wrong with it.
func text(f *scheduling.Faults, field, s string, least, most int) string {
	s = strings.TrimSpace(s)
	n := len([]rune(s))
	want := fmt.Sprintf("%d to %d characters on one line", least, most)
	switch {
	case n < least || n > most:
		f.Addf(field, want, "has %d characters", n)
	case strings.ContainsFunc(s, unicode.IsControl), strings.ContainsAny(s, "\u2028\u2029"):
		f.Add(field, "holds a control character or line break", want)
	}
	return s
}

// address checks a mail address; empty is allowed.
func address(f *scheduling.Faults, field, s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	a, err := mail.ParseAddress(s)
	if err != nil || a.Address != s || len(s) > 254 {
		f.Add(field, "is not a mail address", "an address such as name@example.org")
	} else if strings.ContainsFunc(s, func(r rune) bool { return r > unicode.MaxASCII }) { // needs an extension that few servers speak (RFC 6531)
		f.Add(field, "has letters to which mail cannot be sent", "an address in plain ASCII, such as name@example.org")
	}
	return s
}

// phone turns a number with its country code, or as it is dialled within region, into
// E.164. Empty is allowed, for the region, too.
func phone(f *scheduling.Faults, field, s, region string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	n, err := phonenumbers.Parse(s, region)
	if err != nil || !phonenumbers.IsValidNumber(n) {
		want := "a number with its country code, such as +49 30 901820"
		if region != "" {
			want += ", or as it is dialled here"
		}
		f.Add(field, "is not a telephone number", want)
		return s
	}
	return phonenumbers.Format(n, phonenumbers.E164)
}

// regionOf is the country of a salon's own number, "" where that says none.
func regionOf(number string) string {
	n, err := phonenumbers.Parse(number, "")
	if err != nil {
		return ""
	}
	return phonenumbers.GetRegionCodeForNumber(n)
}

// region is the country in which numbers without one are read.
func (s *Server) region(ctx context.Context) (string, error) {
	var n store.Salon
	err := s.read(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	return regionOf(n.Phone), err
}

// day reads a civil date of the years 2000 to 2199.
func day(f *scheduling.Faults, field, s string) date.Date {
	t, err := time.Parse(time.DateOnly, s)
	switch {
	case s == "":
		f.Add(field, "is missing", "a date such as 2026-06-11")
	case err != nil:
		f.Addf(field, "a date such as 2026-06-11", "is %q", s)
	default:
		year(f, field, t)
	}
	return date.NewAt(t)
}

// year notes a time that no salon can mean, and that a database or a calendar
// may not be able to hold.
func year(f *scheduling.Faults, field string, t time.Time) {
	if y := t.Year(); y < 2000 || y > 2199 {
		f.Addf(field, "a year from 2000 to 2199", "lies in the year %d", y)
	}
}

// clockOf reads a wall-clock time of 24 hours as minutes after midnight.
func clockOf(f *scheduling.Faults, field, s string) int {
	t, err := time.Parse("15:04", s)
	if s == "24:00" {
		return 1440
	}
	if err != nil || len(s) != 5 {
		f.Addf(field, "a time such as 09:30", "is %q", s)
	}
	return t.Hour()*60 + t.Minute()
}

func clockText(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60%24, minutes%60) }

// span checks an interval of instants, whose end is the field to below at.
func span(f *scheduling.Faults, at string, from, to time.Time) {
	if !from.Before(to) {
		f.Add(at+"to", "is not after from", "a later time")
	} else if to.Sub(from) > 366*24*time.Hour {
		f.Add(at+"to", "is more than a year after from", "at most 366 days")
	}
}

// wholeMinute notes a time with seconds.
func wholeMinute(f *scheduling.Faults, field string, t time.Time) time.Time {
	if !t.Equal(t.Truncate(time.Minute)) {
		f.Add(field, "is not a whole minute", "seconds of 00")
	}
	year(f, field, t)
	return t
}
