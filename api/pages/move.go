package pages

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"time"

	"chairblock/scheduling"
)

// Names of the fields that the page for moving a visit posts, beside those of the
// booking form that it shares: FieldStylist, FieldDateFrom, FieldMany,
// FieldApprovedBy and FieldDo.
const (
	FieldVersion   = "version"    // of the visit when the page was made
	FieldBreakLink = "break_link" // "true": the visit leaves those it belongs to
	FieldStartDay  = "start_day"  // of kept time
	FieldStartTime = "start_time"
	// AnyStylist and a stylist's id are values of FieldStylist; "" keeps everybody.
	AnyStylist = "any"
)

// MovePage moves a visit: it lists times, then says what a chosen time changes,
// and moves the visit by one press more.
type MovePage struct {
	Salon, AsOf string
	Ways        []Way
	Who         Who
	Location    *time.Location
	Visit       string // whose visit and what, "Juna K., Straightening"
	VisitHref   string
	Action      string // path that the form posts to
	Version     int64
	// Start to Chair are where it stands now.
	Start, End  time.Time
	With, Chair string
	// Stylist, DateFrom and Many are what was asked for.
	Stylist, DateFrom, Many string
	Stylists                []Option
	// Spread offers to leave it with whoever has it: several stylists are in charge, or
	// one who is not in the list.
	Spread                bool
	Errors                []FieldError
	Openings              []OpeningView
	MoreOpenings          bool
	LaterFrom, NoOpenings string
	// Preview is what the chosen time changes, nil before one was chosen.
	Preview *MovePreview
	// Kept asks for a day and a time of day, for time that is kept for no visit.
	Kept              bool
	StartDay, StartAt string
	Together          bool // it belongs to other visits
	BreakLink         bool
	ApprovedBy        string
	AsksYes           bool      // the licensed person's yes is asked for
	Cautions          []Caution // what it is asked for
}

// MovePreview is a chosen time with what follows from it.
type MovePreview struct {
	Opening OpeningView
	// Rows are what changes, Same what stays as it is.
	Rows     []MoveRow
	Same     []string
	Messages []MessageDue
	NoNews   string // why there are none
	Cautions []Caution
	Chemical bool
}

// MoveRow is something as it is and as it will be.
type MoveRow struct{ What, Was, Will string }

type moveView struct {
	bookView
	Move    MovePage
	Frame   Frame
	Choices []Field
	Agreed  *Field
	Leaves  *Field
}

// RenderMove writes the page that moves a visit. It returns an error of w, wrapped,
// or scheduling.Faults when a link or the id of an opening cannot be written.
func RenderMove(w io.Writer, p MovePage) error {
	var f scheduling.Faults
	checkHref(&f, "visit_href", p.VisitHref)
	checkHref(&f, "action", p.Action)
	for i, o := range p.Openings {
		if !plainID(o.ID) {
			f.Addf("openings["+strconv.Itoa(i)+"].id", `letters, digits, "-", "_", "." and "~"`, "is %q", o.ID)
		}
	}
	if err := f.Err(); err != nil {
		return fmt.Errorf("pages: render move: %w", err)
	}
	v := moveView{Move: p}
	v.Location, v.clock = p.Location, clock{loc: p.Location}
	v.Days = v.byDay(p.Openings)
	now := ""
	if p.Spread {
		now = "whoever has it now"
	}
	v.Choices = []Field{
		Select(FieldStylist, "Stylist", "", p.Stylist, append([]Option{{AnyStylist, "anybody"}}, p.Stylists...), now),
		Input(FieldDateFrom, "From this day on", "", "date", p.DateFrom),
	}
	if p.Kept {
		v.Choices = []Field{Input(FieldStartDay, "Day", "", "date", p.StartDay), Input(FieldStartTime, "From", "such as 14:30", "time", p.StartAt)}
	}
	if p.AsksYes {
		f := Select(FieldApprovedBy, "Licensed person who said yes", "without a yes it is not moved", p.ApprovedBy, p.Stylists, "choose")
		v.Agreed = &f
	}
	if p.Together {
		f := Tick(FieldBreakLink, "Let it leave the visits it belongs to", "when the new time does not suit them", p.BreakLink)
		v.Leaves = &f
	}
	var summary []FieldError
	fields := []*Field{v.Agreed, v.Leaves}
	for i := range v.Choices {
		fields = append(fields, &v.Choices[i])
	}
	for _, e := range p.Errors {
		placed := false
		for _, f := range fields {
			if f != nil && f.Name == e.Field {
				f.Error, placed = e.Text, true
				summary = append(summary, FieldError{f.Name, f.Label + ": " + e.Text})
			}
		}
		if !placed {
			summary = append(summary, FieldError{"", joinWords(e.Field, e.Text)})
		}
	}
	v.Frame = Frame{Title: "Move the visit", Salon: clean(p.Salon), Sub: clean(p.Visit), AsOf: p.AsOf, Ways: p.Ways, Who: p.Who, Summary: summary, Scripts: []string{"book.js"}}
	var buf bytes.Buffer
	err := templates.ExecuteTemplate(&buf, "move", v)
	if err == nil {
		_, err = w.Write(buf.Bytes())
	}
	if err != nil {
		return fmt.Errorf("pages: render move: %w", err)
	}
	return nil
}

// Now says where the visit stands.
func (v moveView) Now() string {
	return v.visitWords(v.Move.Start, v.Move.End, v.Move.With, v.Move.Chair)
}

// ShowValue is what the button posts that shows what a time changes, MoveValue the
// one that moves the visit there.
func (v moveView) ShowValue(o OpeningView) string {
	return Action{Kind: ActShow, Opening: o.ID}.value()
}

// MoveValue is described with ShowValue.
func (v moveView) MoveValue(o OpeningView) string {
	return Action{Kind: ActMove, Opening: o.ID}.value()
}

// Later is the value of the button that looks from a later day on.
func (v moveView) Later() string { return Action{Kind: ActLater, Date: v.Move.LaterFrom}.value() }

// AnybodyValue is what the button posts that looks for times with anybody.
func (v moveView) AnybodyValue() string { return Action{Kind: ActOnly}.value() }

// LaterFromDay is that day in words.
func (v moveView) LaterFromDay() string {
	return bookView{BookPage: BookPage{LaterFrom: v.Move.LaterFrom}}.LaterDay()
}

// Newest tells whether the list of times is what the last step added.
func (v moveView) Newest() bool { return v.Move.Preview == nil && len(v.Frame.Summary) == 0 }
