package pages

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"chairblock/scheduling"
)

// AnswerPage is what the link in a message leads to: where a client says that she
// comes, and where she stops messages. Whoever holds the link sees it, so that it
// names nobody.
type AnswerPage struct {
	Salon, Phone string
	// Href is the page itself, to whose sub-paths its buttons send.
	Href string
	// Done says what the button that was pressed has done, or "".
	Done string
	// Visit is nil when there is nothing to be said of the visit any more.
	Visit *AnswerVisit
	// Topics are the messages that can be stopped.
	Topics []AnswerTopic
	// StillTold is true when the salon calls about changes of a visit although
	// messages are stopped.
	StillTold bool
	// Location is the salon's.
	Location *time.Location
	Hour12   bool
	// Open are the words of the way on to the client's own pages, "" where there is
	// none.
	Open string
}

// AnswerVisit is a visit that a message was about.
type AnswerVisit struct {
	Start time.Time
	// State says why nothing can be answered: "cancelled", "over"; "" when it can.
	State   string
	SaidYes *time.Time // when the client said that she comes, or nil
}

// AnswerTopic is something that can be stopped.
type AnswerTopic struct {
	Key     string // sent back by its button
	Words   string // "messages about coming again"
	Stopped *time.Time
}

// answerView is an AnswerPage ready for its template.
type answerView struct {
	AnswerPage
	Nav   nav
	clock clock
}

// RenderAnswer writes the page. It returns an error of w, wrapped, or
// scheduling.Faults when the address of the page cannot be written.
func RenderAnswer(w io.Writer, p AnswerPage) error {
	var f scheduling.Faults
	checkHref(&f, "href", p.Href)
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render answer: %w", err)
	}
	p.Salon, p.Phone, p.Done = clean(p.Salon), clean(p.Phone), clean(p.Done)
	v := answerView{AnswerPage: p, Nav: nav{Title: "Messages from " + p.Salon}, clock: clock{loc: p.Location, hour12: p.Hour12}}
	if p.Visit != nil && p.Visit.State == "" {
		v.Nav.Title = "Your visit to " + p.Salon
	}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "answer", v); err != nil {
		return fmt.Errorf("pages: render answer: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render answer: %w", err)
	}
	return nil
}

// When returns a day and a time in words.
func (v answerView) When(t time.Time) string { return v.clock.day(t) + ", " + v.clock.at(t) }

// Day returns a day in words, with its year, since a page like this is opened late.
func (v answerView) Day(t time.Time) string {
	return v.clock.day(t) + t.In(v.clock.loc).Format(" 2006")
}

// Exact is t as a form carries it.
func (v answerView) Exact(t time.Time) string { return t.UTC().Format(time.RFC3339) }
