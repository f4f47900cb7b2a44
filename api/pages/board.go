package pages

import (
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// Board is one day of one salon as the front desk sees it. Every time is shown
// as the wall clock of From's location; the axis runs in real time, so that a
// day on which clocks change is as long as it really is.
type Board struct {
	Salon     string // name of the salon
	DateLabel string // the day in words, "Thursday 11 June"
	ZoneLabel string // whose time this is, "times of the salon, Europe/London"
	// AsOf is when the data was read, zero when that is not to be said.
	AsOf time.Time
	// From and To bound the drawing: To is after From by at most 50 hours. Parts
	// outside are left out, parts half outside are cut at the edge.
	From, To time.Time
	// Now draws the dotted line, nil on other days than today.
	Now *time.Time
	// Links of the page, each a path of this server; "" leaves the link out. BookHref
	// books on the day that is shown, where that is another one than today.
	PrevHref, NextHref, TodayHref, BookHref, WeekHref string
	// Date is the day as dates are written in addresses, "2026-06-11", for the field
	// that leads to another one; "" leaves it out.
	Date string
	// Ways are the links to other pages, Who says who uses the browser.
	Ways []Way
	Who  Who
	// Find looks for clients, nil for nobody who may.
	Find *Find
	// Coming are the next arrivals and what hurries, by time.
	Coming []Coming
	Undo   Undo
	// SetUpHref leads to where people, chairs and hours are entered, on the board of a
	// salon that has nobody yet; "" leaves it out.
	SetUpHref string
	// Undone is what has just been taken back, with Done; it stands apart from what
	// changes with the day.
	Undone Undo
	Live   Live
	// WalkIn is the form for somebody who stands in the door, nil for none.
	WalkIn *WalkIn
	// People and Stations are drawn in the order given.
	People, Stations []Line
	// Conflicts are sentences about what cannot be done as planned.
	Conflicts []string
	// Notes are sentences that help and need no action.
	Notes []string
	// Hour12 shows 1:30 pm instead of 13:30.
	Hour12 bool
	// Width is the width of the drawing in its own units, 800 to 6000; 0 means
	// 1280. Text has 11 to 18 units, so that a wider drawing holds longer words.
	Width int
	// Drawing is what SVG gave for a board that shows the same; nil: it is drawn.
	Drawing []byte `json:"-"`
}

// TimeSpan is the real time from From to To, which is after it.
type TimeSpan struct{ From, To time.Time }

// Line is one person, chair or basin over the day.
type Line struct {
	Name string // "Ada"
	Role string // "stylist", "assistant", "chair", "basin"
	// Open is when the unit may be used, Breaks what is taken out of that. Both
	// may be empty: the ground line is then dotted.
	Open, Breaks []TimeSpan
	Parts        []Part
	// Core are the stretches that may not be interrupted.
	Core []CoreSpan
	// Free are helpful words about gaps; they are left out of the drawing where
	// there is no room and always stand in the list.
	Free []FreeSpan
	// Shadows are what runs late, Candidates what could be booked.
	Shadows    []Shadow
	Candidates []Candidate
}

// CoreSpan is a stretch of one visit that may not be interrupted, from the
// first product on the hair to the last rinse.
type CoreSpan struct {
	TimeSpan
	Code string // the client's initials
}

// FreeSpan says what a gap is good for, "A. K. is with Mina, basin 1".
type FreeSpan struct {
	TimeSpan
	Text string
}

// PartKind says what a part asks of the person or station.
type PartKind string

// Kinds of part.
const (
	HandsOn   PartKind = "hands_on"  // hands are needed: a block on the ground line
	Watched   PartKind = "watched"   // hands off, eyes on: a beam over a dotted sill
	Unwatched PartKind = "unwatched" // hands and eyes free: a beam over an open bay
	Basin     PartKind = "basin"     // hands on at the basin, or a basin in use: toothed lower edge
	ChairUse  PartKind = "chair_use" // a chair in use
	Clearing  PartKind = "clearing"  // a station being cleared and cleaned
	Pencilled PartKind = "pencilled" // held for a visit that is not yet firm: an outline of dashes
	Kept      PartKind = "kept"      // kept for something that is no visit: a plain outline
)

// Part is one stretch of a line.
type Part struct {
	Kind     PartKind
	From, To time.Time
	Code     string // the client's initials, "A. K."
	Label    string // the step in words, "process"
	// Checks are the looks during a beam, BackBy the check at its end and Latest
	// the last minute for it, which is not before BackBy.
	Checks         []time.Time
	BackBy, Latest *time.Time
	Chair          string // where it takes place, "chair 1"
	// Href leads to the visit, a path of this server; "" when it leads nowhere.
	// Parts with the same Href belong together and are marked together.
	Href string
	// State is what became of the visit, "finished"; "" while it is only booked.
	State string
	// Next says who goes on when and with what, where that is somebody else:
	// "rinse colour from 11:25, Mina".
	Next string
	// Title is whatever else the full name should say.
	Title string
}

// Bounds of a board (judgement); widths in units of the drawing.
const (
	maxBoardHours  = 50 // two days with a clock change
	defaultWidth   = 1280
	minWidth       = 800
	maxWidth       = 6000
	maxPartsInLine = 500
)

// Validate returns scheduling.Faults that name every field that cannot be
// drawn: times in the wrong order, an unknown kind, a link that leaves this
// server.
func (b Board) Validate() error {
	var f scheduling.Faults
	switch {
	case b.From.IsZero() || b.To.IsZero():
		f.Add("from", "or to is missing", "the first and last moment of the drawing")
	case !b.To.After(b.From):
		f.Add("to", "is not after from", "a later moment")
	case b.To.Sub(b.From) > maxBoardHours*time.Hour:
		f.Add("to", "is too far from from", "at most 50 hours")
	}
	if b.Width != 0 && (b.Width < minWidth || b.Width > maxWidth) {
		f.Addf("width", "0, or 800 to 6000", "is %d", b.Width)
	}
	for _, h := range []struct{ field, href string }{
		{"walk_in.action", b.WalkIn.action()}, {"prev_href", b.PrevHref}, {"next_href", b.NextHref}, {"today_href", b.TodayHref}, {"book_href", b.BookHref},
		{"week_href", b.WeekHref},
	} {
		checkHref(&f, h.field, h.href)
	}
	b.checkLive(&f)
	for i, l := range b.People {
		l.validate(&f, "people["+strconv.Itoa(i)+"]")
	}
	for i, l := range b.Stations {
		l.validate(&f, "stations["+strconv.Itoa(i)+"]")
	}
	return f.Err()
}

func (l Line) validate(f *scheduling.Faults, at string) {
	if len(l.Parts) > maxPartsInLine {
		f.Addf(at+".parts", "at most 500", "has %d entries", len(l.Parts))
		return
	}
	for i, p := range l.Parts {
		p.validate(f, at+".parts["+strconv.Itoa(i)+"]")
	}
	for i, s := range l.Open {
		checkSpan(f, at+".open["+strconv.Itoa(i)+"]", s)
	}
	for i, s := range l.Breaks {
		checkSpan(f, at+".breaks["+strconv.Itoa(i)+"]", s)
	}
	for i, c := range l.Core {
		checkSpan(f, at+".core["+strconv.Itoa(i)+"]", c.TimeSpan)
	}
	for i, s := range l.Free {
		checkSpan(f, at+".free["+strconv.Itoa(i)+"]", s.TimeSpan)
	}
	l.validateShadows(f, at)
	l.validateCandidates(f, at)
}

func (p Part) validate(f *scheduling.Faults, at string) {
	checkSpan(f, at, TimeSpan{p.From, p.To})
	checkHref(f, at+".href", p.Href)
	switch p.Kind {
	case HandsOn, Watched, Unwatched, Basin, ChairUse, Clearing, Pencilled, Kept:
	default:
		f.Addf(at+".kind", "hands_on, watched, unwatched, basin, chair_use, clearing, pencilled or kept", "is %q", string(p.Kind))
	}
	if p.Latest != nil && (p.BackBy == nil || p.Latest.Before(*p.BackBy)) {
		f.Add(at+".latest", "is before the check that it belongs to", "back_by or later")
	}
}

func checkSpan(f *scheduling.Faults, at string, s TimeSpan) {
	if !s.To.After(s.From) {
		f.Add(at+".to", "is not after from", "a later moment")
	}
}

// checkHref refuses everything but a path of this server, so that no name or
// note can ever turn a link of the board into a script or another site.
func checkHref(f *scheduling.Faults, at, href string) {
	if !ownPath(href) {
		f.Add(at, "is not a path of this server", `"" or a path that starts with one "/"`)
	}
}

func ownPath(href string) bool {
	if href == "" {
		return true
	}
	if !strings.HasPrefix(href, "/") || strings.HasPrefix(href, "//") {
		return false
	}
	return !strings.ContainsFunc(href, func(r rune) bool { return r <= ' ' || r == '\\' || r == 0x7f })
}
