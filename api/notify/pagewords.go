package notify

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// What can stand for a name in a text of a page, beside a string, which comes from
// outside, and a time.Time, which is written as day and time.
type (
	// Clock is a time without its day.
	Clock time.Time
	// Day is the day of an instant.
	Day time.Time
	// Span is a stretch of time with its day.
	Span struct{ From, To time.Time }
	// Given only says that something is so, for {if}.
	Given bool
	// Hair is a length of hair in centimetres.
	Hair float64
	// Emergency is the number to call, or whom to call where there is none.
	Emergency string
	// Words of the language file itself, such as those of another text.
	Said string
)

// Says are the facts of a text of a page by the names that it uses.
type Says map[string]any

// PageWords writes the texts of pages for clients in one language.
type PageWords struct {
	// Words is the language; what it lacks is written in English.
	Words *Words
	Zone  *time.Location
	// Hour24 writes 14:05 instead of 2:05 pm, Inches 3 inches instead of 8 cm.
	Hour24, Inches bool
	// Now is when the page is made: days far from it get their year.
	Now time.Time
}

// Text writes the text called name. In is "" when it is in the language of p,
// and the tag of English when that lacks it: its dates and numbers are English
// then, too. A name that English does not know gives "": tests hold that there is
// none.
func (p PageWords) Text(name string, says Says) (text, in string) {
	w := p.Words
	if w == nil || w.pages[name] == nil || w.services == "" && slices.Contains(slices.Collect(maps.Values(says)), any(Emergency(""))) {
		w = english
	}
	if w != p.Words {
		in = english.tag
	}
	v := values{}
	for k, x := range says {
		v[k] = p.value(w, x)
	}
	text, _ = oneLine(v, w.pages[name]) // bounded by the file
	return strings.Join(strings.Fields(text), " "), in
}

func (p PageWords) clock(w *Words) clock {
	return clock{w: w, zone: p.Zone, hour24: p.Hour24, sent: p.Now}
}

func (p PageWords) value(w *Words, x any) value {
	c := p.clock(w)
	switch x := x.(type) {
	case string:
		return fact(x)
	case []string:
		return fact(w.list(cleanAll(x)))
	case time.Time:
		return words(c.at(x))
	case Clock:
		return words(c.time(time.Time(x)))
	case Day:
		return words(c.day(time.Time(x)))
	case Span:
		return words(c.span(x.From, x.To))
	case date.Date:
		return words(c.civil(x))
	case time.Duration:
		return words(w.long(x))
	case int:
		return words(w.number(x, 1))
	case Hair:
		return words(w.hair(float64(x), p.Inches))
	case Need:
		return words(w.need(Needed{Kind: x}))
	case Emergency:
		if x == "" {
			return words(w.services)
		}
		return fact(string(x))
	case Said:
		return words(string(x))
	case Given:
		if x {
			return note
		}
	}
	return value{}
}

// At writes day and time in the language of p.
func (p PageWords) At(t time.Time) string { return p.clock(p.speaks()).at(t) }

// Day writes the day of t in the language of p.
func (p PageWords) Day(t time.Time) string { return p.clock(p.speaks()).day(t) }

// Span writes a stretch of time with its day in the language of p.
func (p PageWords) Span(from, to time.Time) string { return p.clock(p.speaks()).span(from, to) }

// Date writes a day of the calendar in the language of p.
func (p PageWords) Date(d date.Date) string { return p.clock(p.speaks()).civil(d) }

// Long writes a length of time in the language of p.
func (p PageWords) Long(d time.Duration) string { return p.speaks().long(d) }

// Change says in a sentence that clocks change between a and b, or nothing.
func (p PageWords) Change(a, b time.Time) string { return p.clock(p.speaks()).change(a, b) }

func (p PageWords) speaks() *Words {
	if p.Words == nil {
		return english
	}
	return p.Words
}

// RTL tells whether w is written from right to left.
func (w *Words) RTL() bool { return w.rtl }

// MissingPages names the texts of pages that the file lacks, which are English
// instead.
func (w *Words) MissingPages() []string {
	var missing []string
	for _, name := range slices.Sorted(maps.Keys(english.pages)) {
		if w.pages[name] == nil {
			missing = append(missing, name)
		}
	}
	return missing
}

// spokenOf finds what a text speaks of.
var spokenOf = regexp.MustCompile(`\{(?:if )?([a-z][a-z0-9_]*)\}`)

// pageNames is what a text of a page may speak of: the same as the English one.
func pageNames(text string) names {
	out := names{}
	for _, m := range spokenOf.FindAllStringSubmatch(text, -1) {
		if m[1] != "else" && m[1] != "end" {
			out[m[1]] = textName
		}
	}
	return out
}

// englishPages are the English texts of pages as they are written: what other
// languages are held against. It is set before the first file is read.
var englishPages map[string]string

// readPages reads the texts of pages.
func (f *wordsFile) readPages(w *Words, faults *scheduling.Faults) {
	w.pages = map[string][]node{}
	for _, name := range slices.Sorted(maps.Keys(f.Pages)) {
		at, text := "pages."+name, f.Pages[name]
		model, ok := englishPages[name]
		switch {
		case !ok:
			faults.Addf("pages", "the names of the English texts", "has the unknown text %.60q", name)
		case strings.TrimSpace(text) == "" || len(text) > 2000:
			faults.Add(at, "is empty or too long", "1 to 2000 octets, or no such text at all")
		default:
			w.pages[name] = parse(faults, at, lines{text: []string{text}}, pageNames(model), nil)
		}
	}
}
