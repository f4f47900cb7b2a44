package pages

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"time"
)

// CardsPage is every record card of one client, to be read and printed.
type CardsPage struct {
	Salon, Client string
	AsOf          time.Time
	Cards         []CardSheet // newest first
	// Location is the salon's; nil leaves times in their own.
	Location *time.Location
	Hour12   bool
}

// CardSheet is one record card.
type CardSheet struct {
	Start, End                           time.Time
	Services, Lead, State, Hair, Follows string // "" leaves a line out
	Steps                                []CardStep
	Product                              []CardProduct
	Facts                                []CardFact
	Flags                                []CardFlag
	Open                                 []string // what the card still asks for
	Stopped                              []string // why it was stopped early
}

// CardStep is a step as it was planned and as it was.
type CardStep struct {
	Label                  string
	PlannedMinutes         int
	From, To               *time.Time // nil when nobody knows
	Minutes                *float64
	GuessedFrom, GuessedTo bool // nobody noted it
}

// CardProduct is a stretch of time with product on.
type CardProduct struct {
	What    string
	From    time.Time
	To      *time.Time // nil while it is on
	Minutes float64
	Guessed bool
}

// CardFact is something written on the card.
type CardFact struct {
	At, Noted time.Time
	Words, By string
	Replaced  bool // it was corrected and does not stand any more
	Corrects  bool
}

// CardFlag is something outside a limit.
type CardFlag struct {
	Level, Words string
	Reasons      []string
}

// cardsView is a CardsPage ready for its template.
type cardsView struct {
	CardsPage
	Nav   nav
	clock clock
}

// RenderCards writes the record cards of one client. It returns an error of w,
// wrapped.
func RenderCards(w io.Writer, p CardsPage) error {
	v := cardsView{CardsPage: p, clock: clock{loc: p.Location, hour12: p.Hour12}}
	if v.clock.loc == nil {
		v.clock.loc = p.AsOf.Location()
	}
	v.Nav = nav{Title: clean(p.Client + ", record cards"), Salon: clean(p.Salon)}
	for i := range v.Cards {
		v.Cards[i] = v.Cards[i].cleaned()
	}
	var buf bytes.Buffer
	if err := templates.ExecuteTemplate(&buf, "cards", v); err != nil {
		return fmt.Errorf("pages: render cards: %w", err)
	}
	if _, err := w.Write(buf.Bytes()); err != nil {
		return fmt.Errorf("pages: render cards: %w", err)
	}
	return nil
}

// cleaned is the sheet without signs that a page cannot show.
func (c CardSheet) cleaned() CardSheet {
	c.Services, c.Lead, c.State, c.Hair, c.Follows = clean(c.Services), clean(c.Lead), clean(c.State), clean(c.Hair), clean(c.Follows)
	c.Open, c.Stopped = cleanAll(c.Open), cleanAll(c.Stopped)
	facts := make([]CardFact, len(c.Facts))
	for i, f := range c.Facts {
		f.Words, f.By = clean(f.Words), clean(f.By)
		facts[i] = f
	}
	c.Facts = facts
	flags := make([]CardFlag, len(c.Flags))
	for i, f := range c.Flags {
		flags[i] = CardFlag{clean(f.Level), clean(f.Words), cleanAll(f.Reasons)}
	}
	c.Flags = flags
	return c
}

// At returns the wall-clock time of t, Day its day in words with the year.
func (v cardsView) At(t time.Time) string  { return v.clock.at(t) }
func (v cardsView) Day(t time.Time) string { return t.In(v.clock.loc).Format("Mon 2 January 2006") }

// Was says when a step really began or ended: what nobody noted in brackets.
func (v cardsView) Was(t *time.Time, guessed bool) string {
	switch {
	case t == nil:
		return "–"
	case guessed:
		return "(" + v.clock.at(*t) + ")"
	}
	return v.clock.at(*t)
}

// Length says how long a step took, beside its plan.
func (v cardsView) Length(st CardStep) string {
	if st.Minutes == nil {
		return "–"
	}
	s := strconv.FormatFloat(*st.Minutes, 'f', -1, 64)
	if st.GuessedFrom || st.GuessedTo {
		s = "(" + s + ")"
	}
	return s
}

// On says how long product was on.
func (v cardsView) On(p CardProduct) string {
	s := map[string]string{"solution": "Product on first section", "neutralizer": "Neutralizer on"}[p.What]
	s += " " + strconv.FormatFloat(p.Minutes, 'f', 0, 64) + " min, from " + v.clock.at(p.From)
	if p.To != nil {
		s += " to " + v.clock.at(*p.To)
	}
	if p.Guessed {
		s += " (not all of it was noted)"
	}
	return s
}
