package pages

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// VisitPage is one visit: what it is, its steps, what it still needs and the
// messages that it brings about.
type VisitPage struct {
	Salon     string
	BoardHref string // link to the board of the visit's day, "" for none
	Client    string // first name and initial, "Abeo K."
	State     string // in words: "booked", "finished at 13:24"
	Start     time.Time
	End       time.Time
	DryUntil  *time.Time // nil when that does not matter
	// UntiedUntil is when it may be tied again; nil: as DryUntil.
	UntiedUntil *time.Time
	Services    []VisitService
	Chair       string
	Price       string
	// Chemical asks for the safety line.
	Chemical bool
	Steps    []VisitStep
	// PencilledHref leads to the page that books a pencilled visit, "" for none.
	PencilledHref string
	// Kept names who and what is kept, where the time is for no visit.
	Kept []string
	// StillNeeded is what must be there before the visit can start.
	StillNeeded []string
	Cautions    []Caution
	// ApprovedBy is who said yes to cautions, Note what the desk has written; ""
	// leaves them out.
	ApprovedBy, Note string
	Messages         []MessageDue
	NoMessages       string // why there are none
	// Location is the salon's; nil leaves times in their own.
	Location *time.Location
	Hour12   bool
}

// VisitService is one service of a visit with the stylist in charge of it.
type VisitService struct{ Name, With string }

// VisitStep is one step of a visit.
type VisitStep struct {
	Start, End time.Time
	Label      string
	Who        []string // empty when nobody is needed
	Where      string
	WatchFor   []string // short lines for whoever does it
}

// visitView is a VisitPage ready for its template.
type visitView struct {
	VisitPage
	Nav   nav
	Rows  []visitRow
	clock clock
}

// visitRow is a step, or the wait before one.
type visitRow struct {
	When, Step, Who, Where, Wait string
	WatchFor                     []string
}

// RenderVisit writes the page of one visit. It returns an error of w, wrapped,
// or scheduling.Faults when the link to the board cannot be written.
func RenderVisit(w io.Writer, p VisitPage) error {
	var f scheduling.Faults
	checkHref(&f, "board_href", p.BoardHref)
	checkHref(&f, "pencilled_href", p.PencilledHref)
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	v := visitView{VisitPage: p, clock: clock{loc: p.Location, hour12: p.Hour12}}
	if v.clock.loc == nil {
		v.clock.loc = p.Start.Location()
	}
	v.Rows = v.rows()
	v.Nav = nav{Title: clean(p.Client + ", " + v.Day(p.Start) + ", " + v.When()), Salon: clean(p.Salon), BoardHref: p.BoardHref}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "visit", v); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render visit: %w", err)
	}
	return nil
}

// rows lists the steps with the waits between them.
func (v visitView) rows() []visitRow {
	var out []visitRow
	for i, s := range v.Steps {
		if i > 0 {
			if n := wholeMinutes(v.Steps[i-1].End, s.Start); n > 0 {
				out = append(out, visitRow{When: v.clock.span(v.Steps[i-1].End, s.Start), Wait: "waits " + strconv.Itoa(n) + " min"})
			}
		}
		r := visitRow{When: v.clock.span(s.Start, s.End), Step: s.Label, Who: strings.Join(s.Who, ", "), Where: s.Where, WatchFor: s.WatchFor}
		if r.Who == "" {
			r.Who = "nobody is needed"
		}
		out = append(out, r)
	}
	return out
}

// When says from when to when the visit is, with the day when it ends on
// another.
func (v visitView) When() string {
	if v.Day(v.Start) != v.Day(v.End) {
		return v.At(v.Start) + " to " + v.Day(v.End) + " " + v.At(v.End)
	}
	return v.clock.span(v.Start, v.End)
}

// At returns the wall-clock time of t.
func (v visitView) At(t time.Time) string { return v.clock.at(t) }

// LongerUntied is when the hair may be tied, nil when that is when it may get
// wet.
func (v visitView) LongerUntied() *time.Time {
	if v.DryUntil == nil || v.UntiedUntil == nil || v.UntiedUntil.Equal(*v.DryUntil) {
		return nil
	}
	return v.UntiedUntil
}

// Day returns the day of t in words.
func (v visitView) Day(t time.Time) string { return v.clock.day(t) }
