package pages

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
)

// Shadow is how far work reaches past its planned end as things stand now. It
// is cast along the floor, below the ground line, from the planned end to the
// projected one, so that it never hides what stands there; where that is
// another visit the two clash, which is drawn and said.
type Shadow struct {
	TimeSpan        // from the planned end to the projected end, which is later
	Code     string // the client's first name and initial, as on the part
	Label    string // what runs late, "iron"
	Href     string // a path of this server; the visit's own, so that both are marked together
}

// partLate is the kind of part as which a shadow is drawn.
const partLate PartKind = "late"

func (s Shadow) part() Part {
	return Part{Kind: partLate, From: s.From, To: s.To, Code: s.Code, Label: s.Label, Href: s.Href}
}

func (l Line) validateShadows(f *scheduling.Faults, at string) {
	if len(l.Shadows) > maxPartsInLine {
		f.Addf(at+".shadows", "at most 500", "has %d entries", len(l.Shadows))
		return
	}
	for i, s := range l.Shadows {
		here := at + ".shadows[" + strconv.Itoa(i) + "]"
		checkSpan(f, here, s.TimeSpan)
		checkHref(f, here+".href", s.Href)
	}
}

// hits returns the first part of l that s runs into: another visit's that needs
// hands or eyes, or something kept. Under a beam with an open bay there is room.
func (s Shadow) hits(l Line) (Part, bool) {
	var first Part
	found := false
	for _, p := range l.Parts {
		if p.Kind == Unwatched || p.Kind == Clearing || s.own(p) || !p.From.Before(s.To) || !p.To.After(s.From) {
			continue
		}
		if !found || p.From.Before(first.From) {
			first, found = p, true
		}
	}
	return first, found
}

// own tells whether p belongs to the visit of s.
func (s Shadow) own(p Part) bool {
	if s.Href != "" || p.Href != "" {
		return s.Href == p.Href
	}
	return s.Code != "" && s.Code == p.Code
}

// lateWords says by how much: "until 13:52, 22 min late".
func (c clock) lateWords(s Shadow) string {
	return "until " + c.at(s.To) + ", " + strconv.Itoa(wholeMinutes(s.From, s.To)) + " min late"
}

// clashWords says what s runs into on l, "" for nothing: "runs into B. D. at 13:30".
func (c clock) clashWords(s Shadow, l Line) string {
	p, ok := s.hits(l)
	if !ok {
		return c.lostBreak(s, l)
	}
	who := cmp.Or(whose(p.Code), clean(p.Label), kindWords(p.Kind))
	return "runs into " + who + " at " + c.at(p.From)
}

func (c clock) lostBreak(s Shadow, l Line) string {
	for _, b := range l.Breaks {
		if b.From.Before(s.To) && b.To.After(s.From) {
			return "runs into the break at " + c.at(b.From)
		}
	}
	return ""
}

// lateName is the accessible name of s on l.
func (c clock) lateName(s Shadow, l Line) string {
	words := []string{"late"}
	for _, w := range []string{
		whose(s.Code), clean(s.Label), "planned until " + c.at(s.From), "now expected until " + c.at(s.To),
		minutesWords(wholeMinutes(s.From, s.To)) + " late", c.clashWords(s, l),
	} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

// lateItems are the shadows of l as entries of the list.
func (c clock) lateItems(l Line) []listItem {
	var out []listItem
	for _, s := range l.Shadows {
		how := "planned until " + c.at(s.From)
		if w := c.clashWords(s, l); w != "" {
			how += ", " + w
		}
		what := joinWords(whose(s.Code), clean(s.Label))
		if what != "" {
			what += " "
		}
		out = append(out, listItem{
			Class: string(partLate), When: "until " + c.at(s.To), What: what + strconv.Itoa(wholeMinutes(s.From, s.To)) + " min late",
			How: how, Href: s.Href, at: s.From,
		})
	}
	return out
}

// sortedShadows are the shadows of l in order of time.
func (l Line) sortedShadows() []Shadow {
	out := slices.Clone(l.Shadows)
	slices.SortStableFunc(out, func(a, b Shadow) int { return cmp.Or(a.From.Compare(b.From), a.To.Compare(b.To)) })
	return out
}

// Sizes of shadows, in the units of the drawing (judgement).
const (
	shadowGap    = 3.0  // below the ground line
	shadowHeight = 11.0 // of a person's
	shadowLow    = 8.0  // of a station's
	shadowStep   = 3.0  // between two below each other
)

// shadowRoom is how far one shadow moves down what is below it.
func (d *lineLayout) shadowRoom() float64 {
	if d.bar {
		return shadowLow + shadowStep
	}
	return shadowHeight + shadowStep
}

// shadowTop is the upper edge of a shadow.
func (d *lineLayout) shadowTop(s *shape) float64 {
	gap := shadowGap
	if len(d.breaks) > 0 { // below the dip of the ground line
		gap += 5
	}
	return d.ground + gap + float64(s.tier)*d.shadowRoom()
}

// addShadows gives every shadow of line its shape, among the parts in order of
// time, and room below the ground line.
func (d *lineLayout) addShadows(l *layout, line Line) {
	var ends []time.Time
	d.tries = map[*shape][]string{}
	for _, w := range line.sortedShadows() {
		if !l.seen(w.From, w.To) {
			continue
		}
		s := &shape{part: w.part(), x0: l.x(w.From), x1: l.x(w.To), name: l.clock.lateName(w, line)}
		s.x1 = max(s.x1, s.x0+leastWidth)
		for s.tier < len(ends) && w.From.Before(ends[s.tier]) {
			s.tier++
		}
		if s.tier == len(ends) {
			ends = append(ends, time.Time{})
		}
		ends[s.tier] = w.To
		clash := l.clock.clashWords(w, line)
		s.clash = clash != ""
		s.words = joinWords(joinWords(whose(w.Code), clean(w.Label)), sentence(l.clock.lateWords(w), clash))
		d.tries[s] = lateTries(l.clock, w, clash)
		at := slices.IndexFunc(d.shapes, func(o *shape) bool { return o.part.From.After(w.From) })
		if at < 0 {
			at = len(d.shapes)
		}
		d.shapes = slices.Insert(d.shapes, at, s)
	}
	if len(ends) > 0 {
		d.drop += float64(len(ends)) * d.shadowRoom()
	}
}

// lateTries are words for a shadow, the best first. What it runs into is never
// left out: then the list below the drawing says it.
func lateTries(c clock, s Shadow, clash string) []string {
	code, late := whose(s.Code), c.lateWords(s)
	if clash == "" {
		return []string{joinWords(code, late), late}
	}
	short := strconv.Itoa(wholeMinutes(s.From, s.To)) + " min late, " + clash
	return []string{joinWords(code, late) + ", " + clash, late + ", " + clash, short}
}

// drawShadow draws the band: an outline filled with lines that fall to the
// right, as no beam's do, and a second outline where it runs into something.
func (s *svg) drawShadow(d *lineLayout, f *shape) {
	y, h := d.shadowTop(f), shadowHeight
	if d.bar {
		h = shadowLow
	}
	s.raw(`<rect class="beam cast"`)
	s.attr("x", f.x0+0.5)
	s.attr("y", y)
	s.attr("width", max(f.x1-f.x0-1, 1))
	s.attr("height", h)
	s.raw(` fill="url(#late)"/>`)
	if f.clash {
		s.rect("clash", f.x0-2, y-2.5, f.x1-f.x0+4, h+5)
	}
}
