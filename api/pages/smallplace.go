package pages

import (
	"cmp"
	"slices"
	"strconv"
	"time"
)

// Sizes of a small drawing of a day, in its own units, which are meant to be
// shown as that many pixels (judgement).
const (
	smallColumn   = 78.0 // for the names at the left, at least
	smallNames    = 0.36 // of the width, at most for names that need more
	smallHours    = 13.0 // for the hours above
	smallGround   = 39.0 // from below the hours to the ground line
	smallBelow    = 12.0 // below the ground line, for the chair
	smallBlock    = 14.0 // height of what is offered
	smallTaken    = 7.0  // height of what is there already
	smallBeamLift = 18.0
	smallBeam     = 6.0
	smallText     = 11.0
	smallEdge     = 3.0
	smallGap      = 6.0 // between the names and the strip
)

// smallLayout is a day with its scale.
type smallLayout struct {
	day         DaySmall
	clock       clock
	left, right float64 // ends of the axis
	scale       float64 // units per minute
	ground      float64
	width       float64
	height      float64
}

func newSmallLayout(d DaySmall) *smallLayout {
	l := &smallLayout{day: d, clock: clock{loc: d.From.Location(), hour12: d.Hour12}, width: float64(cmp.Or(d.Width, smallWidth))}
	l.left, l.right = smallEdge, l.width-smallEdge
	if d.Name != "" || d.Label != "" {
		l.left = l.column()
	}
	l.scale = (l.right - l.left) / d.To.Sub(d.From).Minutes()
	l.ground = smallGround
	if !d.NoHours {
		l.ground += smallHours
	}
	l.height = l.ground + smallBelow
	return l
}

// column is how much room the names at the left take.
func (l *smallLayout) column() float64 {
	room := 0.0
	for i, s := range []string{l.day.Name, l.day.Label, l.day.ChairName} {
		w, _ := textWidth(clean(s), smallText, i == 0)
		room = max(room, w)
	}
	return min(max(smallColumn, room+smallEdge+smallGap), smallNames*l.width)
}

func (l *smallLayout) x(t time.Time) float64 {
	return min(max(l.left+t.Sub(l.day.From).Minutes()*l.scale, l.left), l.right)
}

// at returns the ends of a stretch on the axis, at least one unit apart, and
// false when it lies outside.
func (l *smallLayout) at(from, to time.Time) (x0, x1 float64, ok bool) {
	if !from.Before(l.day.To) || !to.After(l.day.From) {
		return 0, 0, false
	}
	x0, x1 = l.x(from), l.x(to)
	return x0, max(x1, x0+1.5), true
}

// offered is the whole of the visit that is offered.
func (d DaySmall) offered() (TimeSpan, bool) {
	if len(d.Offer) == 0 {
		return TimeSpan{}, false
	}
	s := TimeSpan{d.Offer[0].From, d.Offer[0].To}
	for _, p := range d.Offer {
		if p.From.Before(s.From) {
			s.From = p.From
		}
		if p.To.After(s.To) {
			s.To = p.To
		}
	}
	for _, c := range d.Chair { // the visit may begin or end in somebody else's hands
		if c.From.Before(s.From) && !c.To.Before(s.From) {
			s.From = c.From
		}
		if c.To.After(s.To) && !c.From.After(s.To) {
			s.To = c.To
		}
	}
	return s, true
}

// takenSpans are the stretches that are not free any more, joined where they
// touch.
func (d DaySmall) takenSpans() []TimeSpan {
	var list []TimeSpan
	for _, p := range d.Taken {
		if p.Kind != Unwatched {
			list = append(list, TimeSpan{p.From, p.To})
		}
	}
	slices.SortFunc(list, func(a, b TimeSpan) int { return a.From.Compare(b.From) })
	var out []TimeSpan
	for _, s := range list {
		if n := len(out) - 1; n >= 0 && !s.From.After(out[n].To) {
			if s.To.After(out[n].To) {
				out[n].To = s.To
			}
			continue
		}
		out = append(out, s)
	}
	return out
}

// named is how many stretches the name of a small drawing lists.
const named = 5

// name says the day in one sentence.
func (l *smallLayout) name() string {
	d := l.day
	who := sentence(clean(d.Name), clean(d.Label))
	if who == "" {
		who = l.clock.day(d.From)
	}
	what := "nothing is offered"
	if s, ok := d.offered(); ok {
		what = "offered from " + l.clock.span(s.From, s.To) + ", " + minutesWords(wholeMinutes(s.From, s.To))
		for _, p := range d.Offer {
			if isBeam(p.Kind) {
				what += ", hands off " + l.clock.dash(p.From, p.To)
			}
		}
	}
	taken := d.takenSpans()
	rest := "nothing else that day"
	for i, s := range taken {
		switch {
		case i == 0:
			rest = "taken already " + l.clock.dash(s.From, s.To)
		case i < named:
			rest += ", " + l.clock.dash(s.From, s.To)
		case i == named:
			rest += " and " + strconv.Itoa(len(taken)-named) + " more"
		}
	}
	return who + ": " + sentence(what, clean(d.ChairName), clean(d.Words)) + "; " + rest
}

// hours are the full hours that have room, with their labels.
func (l *smallLayout) hours() (labels []label, ticks []float64) {
	hours := oclocks(l.day.From, l.day.To)
	for step := 1; step <= 24; step++ {
		labels, ticks = labels[:0], ticks[:0]
		end, fits := 0.0, true
		for i := 0; i < len(hours) && fits; i += step {
			lab := newLabel(l.clock.hour(hours[i]), smallText, false, "hour")
			x := l.x(hours[i])
			lab.x, lab.y = min(max(x-lab.w/2, l.left-smallEdge), l.width-lab.w), smallText
			fits = lab.x >= end
			end = lab.x + lab.w + 5
			labels, ticks = append(labels, lab), append(ticks, x)
		}
		if fits {
			return labels, ticks
		}
	}
	return nil, nil
}

// hour says a full hour as shortly as can be: "9", "1 pm", and with its offset
// where the clock shows it twice.
func (c clock) hour(t time.Time) string {
	s := c.at(t)
	if shownTwice(t) {
		return s
	}
	if c.hour12 {
		return t.In(c.loc).Format("3 pm")
	}
	return t.In(c.loc).Format("15")
}
