package notify

import (
	"embed"
	"fmt"
	"strings"
	"text/template"
	"time"
	"unicode"
)

//go:embed messages/*.txt
var messageFiles embed.FS

// messages holds "<kind>.subject" and "<kind>.text" for every kind.
var messages = template.Must(template.New("").ParseFS(messageFiles, "messages/*.txt"))

// Compose writes message k about f: a subject on one line, and a plain text
// with LF line ends. The same facts give the same words.
//
// Confirmation and Reminder need Services, Start and End, and KeepDryUntil
// when Straightening; Moved needs Before as well; Cancelled needs Start;
// Aftercare needs End, KeepDryUntil and Emergency; AftercareEnd needs End and
// KeepDryUntil; Retouch needs WithinFrom.
//
// Compose returns scheduling.Faults when a fact is missing or impossible.
func Compose(w *Words, k Kind, f Facts) (Message, error) {
	if err := f.check(k); err != nil {
		return Message{}, fmt.Errorf("notify: compose: %w", err)
	}
	v := newView(k, f)
	var b strings.Builder
	if err := messages.ExecuteTemplate(&b, string(k)+".subject", v); err != nil {
		return Message{}, fmt.Errorf("notify: compose %s: %w", k, err)
	}
	subject := clean(b.String())
	b.Reset()
	if err := messages.ExecuteTemplate(&b, string(k)+".text", v); err != nil {
		return Message{}, fmt.Errorf("notify: compose %s: %w", k, err)
	}
	return Message{Subject: subject, Text: strings.TrimSpace(b.String()) + "\n"}, nil
}

// view is what the message files see: every value already in words.
type view struct {
	Hello, About                string
	Salon, Phone, Address, Link string
	Services, Stylist           string
	When, WhenShort, Stay       string
	Before                      string
	Needed                      []neededLine
	Straightening               bool
	Dry, DryHours               string
	Tie, TieHours               string
	TieLonger, TieShorter       bool
	ClockChange                 string
	Emergency                   string
	RetouchFrom                 string
}

type neededLine struct{ What, By string }

// newView puts the facts that check has let through into words.
func newView(k Kind, f Facts) view {
	v := view{
		Hello:         hello(f.ClientFirstName),
		Salon:         clean(f.SalonName),
		Phone:         clean(f.SalonPhone),
		Address:       clean(f.SalonAddress),
		Services:      list(cleanAll(f.Services)),
		Stylist:       clean(f.Stylist),
		Link:          f.Link,
		Straightening: f.Straightening,
		Emergency:     clean(f.Emergency),
	}
	if f.GuardianFirstName != "" {
		v.Hello = hello(f.GuardianFirstName)
		v.About = "your child"
		if name := clean(f.ClientFirstName); isName(name) {
			v.About = name
		}
	}
	if k == Retouch {
		v.RetouchFrom = f.WithinFrom.Format("Monday 2 January 2006")
		return v
	}
	v.setTimes(k, f)
	return v
}

// setTimes writes the times that message k shows.
func (v *view) setTimes(k Kind, f Facts) {
	dry, tie := untils(f)
	var c clock
	switch k {
	case Aftercare, AftercareEnd:
		c = newClock(f.Zone, f.Hour24, f.End, dry, tie)
	case Cancelled:
		c = newClock(f.Zone, f.Hour24, f.Start)
	default:
		shown := []time.Time{f.Start, f.End}
		if f.Straightening {
			shown = append(shown, dry, tie)
		}
		if k == Moved {
			shown = append(shown, f.Before)
		}
		for _, n := range f.StillNeeded {
			shown = append(shown, n.By)
		}
		c = newClock(f.Zone, f.Hour24, shown...)
		v.When = c.span(f.Start, f.End)
		v.Stay = long(f.End.Sub(f.Start))
	}
	if !f.Start.IsZero() {
		v.WhenShort = c.at(f.Start)
	}
	if k == Moved {
		v.Before = c.at(f.Before)
	}
	for _, n := range f.StillNeeded {
		v.Needed = append(v.Needed, neededLine{clean(n.What), c.at(n.By)})
	}
	if dry.IsZero() {
		return
	}
	v.Dry, v.DryHours = c.at(dry), hours(dry.Sub(f.End))
	v.Tie, v.TieHours = c.at(tie), hours(tie.Sub(f.End))
	v.TieLonger, v.TieShorter = tie.After(dry), tie.Before(dry)
	v.ClockChange = c.change(f.End, later(dry, tie))
}

// untils returns the two ends of aftercare, zero when there is none.
func untils(f Facts) (dry, tie time.Time) {
	if f.KeepDryUntil == nil {
		return dry, tie
	}
	dry, tie = *f.KeepDryUntil, *f.KeepDryUntil
	if f.NoTieUntil != nil {
		tie = *f.NoTieUntil
	}
	return dry, tie
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// hello greets by name where the name is one.
func hello(name string) string {
	if name = clean(name); isName(name) {
		return "Hello " + name + ","
	}
	return "Hello,"
}

// longestName is the longest first name that is greeted, in characters
// (judgement); anything longer is more likely a message than a name.
const longestName = 40

// isName tells whether s can be greeted. What mail programs would turn into a
// link is not a name: otherwise anybody could have the salon send their link
// to any address by booking under it.
func isName(s string) bool {
	r := []rune(s)
	if len(r) == 0 || len(r) > longestName {
		return false
	}
	for i, c := range r {
		if strings.ContainsRune("/\\@:<>[]()", c) {
			return false
		}
		if c == '.' && i+1 < len(r) && !unicode.IsSpace(r[i+1]) {
			return false
		}
	}
	return true
}

// list joins names as in "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}
