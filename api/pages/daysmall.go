package pages

import (
	"strconv"
	"time"

	"chairblock/scheduling"
)

// DaySmall is one day of a stylist, and of the chair that goes with it, in a
// strip, with a visit that is offered on top of what is there.
type DaySmall struct {
	Name  string // whose day it is, "Ada"
	Label string // the day in a few words, "Thu 11 June"; "" leaves the column of words out when Name is "" as well
	// From and To bound the strip: To is after From by at most 50 hours. The times
	// are said by the wall clock of From's location.
	From, To     time.Time
	Open, Breaks []TimeSpan
	Taken        []Part // what the stylist has already, drawn small
	Offer        []Part // the visit that is offered, as far as the stylist is in it
	// Chair and ChairTaken are the chair that the offered visit takes and what it
	// has already; both may be empty.
	Chair, ChairTaken []TimeSpan
	ChairName         string // "chair 1"
	Words             string // two or three words on the opening, "ends before the break"
	Hour12            bool
	Width             int  // in units, 320 to 640; 0 means 340
	NoHours           bool // leave the hours above out, for days below each other
}

// Bounds of a small drawing of a day (judgement).
const (
	smallWidth    = 340
	minSmallWidth = 320
	maxSmallWidth = 640
)

// Validate returns scheduling.Faults that name every field that cannot be drawn.
func (d DaySmall) Validate() error {
	var f scheduling.Faults
	d.validate(&f)
	return f.Err()
}

func (d DaySmall) validate(f *scheduling.Faults) {
	switch {
	case d.From.IsZero() || d.To.IsZero():
		f.Add("from", "or to is missing", "the first and last moment of the drawing")
	case !d.To.After(d.From):
		f.Add("to", "is not after from", "a later moment")
	case d.To.Sub(d.From) > maxBoardHours*time.Hour:
		f.Add("to", "is too far from from", "at most 50 hours")
	}
	if d.Width != 0 && (d.Width < minSmallWidth || d.Width > maxSmallWidth) {
		f.Addf("width", "0, or 320 to 640", "is %d", d.Width)
	}
	for _, list := range []struct {
		field string
		parts []Part
	}{{"taken", d.Taken}, {"offer", d.Offer}} {
		if len(list.parts) > maxPartsInLine {
			f.Addf(list.field, "at most 500", "has %d entries", len(list.parts))
			continue
		}
		for i, p := range list.parts {
			p.validate(f, list.field+"["+strconv.Itoa(i)+"]")
		}
	}
	for _, list := range []struct {
		field string
		spans []TimeSpan
	}{{"open", d.Open}, {"breaks", d.Breaks}, {"chair", d.Chair}, {"chair_taken", d.ChairTaken}} {
		if len(list.spans) > maxPartsInLine {
			f.Addf(list.field, "at most 500", "has %d entries", len(list.spans))
			continue
		}
		for i, s := range list.spans {
			checkSpan(f, list.field+"["+strconv.Itoa(i)+"]", s)
		}
	}
}

// SVG returns the drawing, less than 4 KB of one image with one name. It returns
// scheduling.Faults when it cannot be drawn; see Validate.
func (d DaySmall) SVG() (string, error) {
	if err := d.Validate(); err != nil {
		return "", err
	}
	return newSmallLayout(d).draw(), nil
}

// WeekSmall is several days below each other, each named at its left, on one
// scale of hours.
type WeekSmall struct{ Days []DaySmall }

// SVG returns the drawings of the days, the hours above the first one only. It
// returns scheduling.Faults by day.
func (w WeekSmall) SVG() (string, error) {
	var f scheduling.Faults
	out := ""
	for i, d := range w.Days {
		d.NoHours = i > 0
		s, err := d.SVG()
		if err := f.Join("days["+strconv.Itoa(i)+"]", err); err != nil {
			return "", err
		}
		out += s
	}
	return out, f.Err()
}
