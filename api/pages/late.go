package pages

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

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
	who := cmp.Or(clean(p.Code), clean(p.Label), kindWords(p.Kind))
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
		clean(s.Code), clean(s.Label), "planned until " + c.at(s.From), "now expected until " + c.at(s.To),
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
		what := joinWords(clean(s.Code), clean(s.Label))
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
