package pages

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"chairblock/scheduling"
)

// VisitPage is one visit: what it is, its steps and the messages that it brings
// about.
type VisitPage struct {
	Salon     string
	BoardHref string // link to the board of the visit's day, "" for none
	Client    string
	Service   string
	State     string // "booked", "finished"
	Start     time.Time
	End       time.Time
	DryUntil  *time.Time // nil when that does not matter
	With      string     // stylist in charge
	Chair     string
	Price     string
	// ApprovedBy is who said yes to cautions, Note what the desk has written; ""
	// leaves them out.
	ApprovedBy, Note string
	Steps            []VisitStep
	Messages         []MessageDue
	// Location is the salon's; nil leaves times in their own.
	Location *time.Location
	Hour12   bool
}

// VisitStep is one step of a visit with whoever and whatever it takes.
type VisitStep struct {
	Start, End time.Time
	Label      string
	With       []string // people, then a basin; empty when nobody is needed
}

// visitView is a VisitPage ready for its template.
type visitView struct {
	VisitPage
	Nav   nav
	clock clock
}

// RenderVisit writes the page of one visit. It returns an error of w, wrapped,
// or scheduling.Faults when the link to the board cannot be written.
func RenderVisit(w io.Writer, p VisitPage) error {
	var f scheduling.Faults
	checkHref(&f, "board_href", p.BoardHref)
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	v := visitView{VisitPage: p, clock: clock{loc: p.Location, hour12: p.Hour12}}
	if v.clock.loc == nil {
		v.clock.loc = p.Start.Location()
	}
	v.Nav = nav{Title: clean(p.Client + ", " + v.Day(p.Start) + " " + v.At(p.Start)), Salon: clean(p.Salon), BoardHref: p.BoardHref}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "visit", v); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	return nil
}

// At returns the wall-clock time of t.
func (v visitView) At(t time.Time) string { return v.clock.at(t) }

// Day returns the day of t in words.
func (v visitView) Day(t time.Time) string { return v.clock.day(t) }

// Long returns how long a step takes.
func (v visitView) Long(s VisitStep) string {
	return lengthWords(int(s.End.Sub(s.Start).Round(time.Minute) / time.Minute))
}

// Who names whoever a step needs.
func (v visitView) Who(s VisitStep) string { return strings.Join(s.With, ", ") }
