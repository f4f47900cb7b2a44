package pages

import (
	"cmp"
	"html/template"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// bookView is a BookPage ready for its template.
type bookView struct {
	BookPage
	Frame   Frame
	Summary []FieldError
	Groups  []fieldGroup
	Days    []openingDay
	Drawn   template.HTML // the hair
	Carried []carried     // what the step does not ask for
	// Approval asks who said yes, nil when no caution needs that.
	Approval *Field
	Total    int
	clock    clock
}

// fieldGroup is one block of fields under a heading.
type fieldGroup struct {
	Legend, Class, Note, Hint string
	Who                       *Field   // looks for a client
	Fold                      string   // what the group is folded away under, "" for open
	Open                      bool     // folded out all the same
	Lines                     []string // what is known beforehand
	Fields                    []Field
	Draw                      bool // the hair is drawn beside
	More                      bool // one field more can be asked for
	Count                     int  // of services that can be chosen
}

// paged is a part of the page together with the page.
type paged struct {
	Page  bookView
	Group any
}

// With hands a part of the page to its template together with the page.
func (v bookView) With(part any) paged { return paged{v, part} }

// openingDay is the times of one day.
type openingDay struct {
	Day      string
	Openings []OpeningView
}

// byDay puts openings together by day, the days in the order of their first.
func (v bookView) byDay(list []OpeningView) []openingDay {
	var out []openingDay
	for _, o := range list {
		day := v.Day(o.Start)
		i := slices.IndexFunc(out, func(d openingDay) bool { return d.Day == day })
		if i < 0 {
			i, out = len(out), append(out, openingDay{Day: day})
		}
		out[i].Openings = append(out[i].Openings, o)
	}
	return out
}

func (p BookPage) validate() error {
	var f scheduling.Faults
	checkHref(&f, "board_href", p.BoardHref)
	checkHref(&f, "action", p.Action)
	checkHref(&f, "undo.back", p.Undo.Back)
	if p.Booked != nil {
		checkHref(&f, "booked.visit_href", p.Booked.VisitHref)
	}
	if p.Pencilled != nil && !plainID(p.Pencilled.ID) {
		f.Addf("pencilled.id", `letters, digits, "-", "_", "." and "~"`, "is %q", p.Pencilled.ID)
	}
	if p.Booked != nil {
		checkHref(&f, "booked.behind_href", p.Booked.BehindHref)
	}
	if p.Beside != nil {
		checkHref(&f, "beside.href", p.Beside.Href)
	}
	for i, o := range slices.Concat(p.Openings, p.Consultations) {
		if !plainID(o.ID) {
			f.Addf("openings["+strconv.Itoa(i)+"].id", `letters, digits, "-", "_", "." and "~"`, "is %q", o.ID)
		}
	}
	return f.Err()
}

func plainID(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.~", r))
	})
}

func newBookView(p BookPage) bookView {
	v := bookView{BookPage: p}
	v.Action = cmp.Or(p.Action, "/book")
	v.clock = clock{loc: p.Location, hour12: p.Hour12}
	title := "Book a visit"
	if p.Step == StepBooked {
		title = "Booked"
	}
	v.Groups = p.groups()
	if p.Step == StepPencilled {
		title = "Pencilled"
		v.Carried, v.Groups = carry(v.Groups[1:]), v.Groups[:1]
	}
	v.Days = v.byDay(p.Openings)
	v.Approval = p.approval()
	v.placeErrors()
	if p.Estimate != nil {
		for _, l := range p.Estimate.Lines {
			v.Total += l.Minutes
		}
	}
	if p.Hair != nil {
		if svg, err := p.Hair.SVG(); err == nil { // what cannot be drawn is said beside its field
			v.Drawn = template.HTML(svg) // made by this package
		}
	}
	v.Frame = Frame{Title: title, Salon: clean(p.Salon), AsOf: p.AsOf, Ways: p.Ways, Who: p.Who, Undo: p.Undo, Summary: v.Summary, Scripts: []string{"book.js", "pencilled.js"}}
	return v
}

// approval is the list of those who may say yes to the cautions.
func (p BookPage) approval() *Field {
	asked := slices.ContainsFunc(p.Errors, func(e FieldError) bool { return formName(e.Field) == FieldApprovedBy })
	var cautions []Caution
	switch {
	case p.Step == StepPencilled && p.Pencilled != nil:
		cautions = p.Pencilled.Cautions
	case p.Estimate != nil:
		cautions = p.Estimate.Cautions
	default:
		return nil
	}
	if !asked && !slices.ContainsFunc(cautions, func(c Caution) bool { return c.Level.Class() == string(CautionNeedsYes) }) {
		return nil
	}
	f := Select(FieldApprovedBy, "Licensed person who said yes", "without a yes this is not booked", p.Fields.ApprovedBy, p.Stylists, "choose")
	return &f
}

// placeErrors puts every error beside its field, opens what hides it, and keeps
// the list for the summary in the order of the form.
func (v *bookView) placeErrors() {
	left := slices.Clone(v.Errors)
	for i := range left {
		if formName(left[i].Field) == FieldClient { // who is chosen among those found
			left[i].Field = FieldWho
		}
	}
	place := func(f *Field) (placed bool) {
		left = slices.DeleteFunc(left, func(e FieldError) bool {
			if formName(e.Field) != f.Name {
				return false
			}
			f.Error = joinWords(f.Error, e.Text)
			placed = true
			v.Summary = append(v.Summary, FieldError{f.Name, strings.TrimSuffix(f.Label, "?") + ": " + e.Text})
			return true
		})
		return placed
	}
	for g := range v.Groups {
		group := &v.Groups[g]
		if group.Who != nil {
			place(group.Who)
		}
		for i := range group.Fields {
			group.Open = place(&group.Fields[i]) || group.Open
		}
	}
	if v.Approval != nil {
		place(v.Approval)
	}
	for _, e := range left {
		v.Summary = append(v.Summary, FieldError{"", joinWords(e.Field, e.Text)})
	}
}

// carried is a value that goes along unseen.
type carried struct{ Name, Value string }

// carry lists the values of groups that are not shown.
func carry(groups []fieldGroup) []carried {
	var out []carried
	for _, g := range groups {
		if g.Count > 0 {
			out = append(out, carried{FieldMore, strconv.Itoa(g.Count)})
		}
		for _, f := range g.Fields {
			switch {
			case f.Kind == "tick":
				if f.Checked {
					out = append(out, carried{f.Name, "true"})
				}
			case f.Kind == "ticks":
				for _, o := range f.Options {
					if o.Chosen {
						out = append(out, carried{f.Name, o.Value})
					}
				}
			case f.Value != "":
				out = append(out, carried{f.Name, f.Value})
			}
		}
	}
	return out
}

// formName returns the last part of a path such as "head.length_cm".
func formName(field string) string { return field[strings.LastIndexByte(field, '.')+1:] }

// NewestEstimate tells whether the estimate is what the last step added, so
// that it takes the focus.
func (v bookView) NewestEstimate() bool { return v.Step == StepEstimate && len(v.Summary) == 0 }

// NewestOpenings is NewestEstimate for the openings.
func (v bookView) NewestOpenings() bool { return v.Step == StepOpenings && len(v.Summary) == 0 }

// At returns the wall-clock time of t.
func (v bookView) At(t time.Time) string { return v.in(t).at(t) }

// Day returns the day of t in words.
func (v bookView) Day(t time.Time) string { return v.in(t).day(t) }

func (v bookView) in(t time.Time) clock {
	c := v.clock
	if c.loc == nil {
		c.loc = t.Location()
	}
	return c
}

// When says when an opening is and with whom: "Thu 11 June 09:00 with Ada,
// chair 1, ends 13:30".
func (v bookView) When(o OpeningView) string {
	return v.visitWords(o.Start, o.End, o.With, o.Chair)
}

// PencilledWhen is When for what is pencilled.
func (v bookView) PencilledWhen(p PencilledView) string {
	return v.visitWords(p.Start, p.End, p.With, p.Chair)
}

// BesideWhen is When for the visit beside.
func (v bookView) BesideWhen(b BesideView) string { return v.visitWords(b.Start, b.End, b.With, "") }

// Comes asks whether somebody comes with her, to be booked afterwards.
func (v bookView) Comes() Field {
	return Select(FieldTogether, "Somebody comes with her", "is booked next, at a time beside hers", v.Fields.Together, togetherOptions, "nobody")
}

// ComeHref leads to the booking of somebody who comes with who was booked.
func (v bookView) ComeHref(how string) string {
	return v.Action + "?" + url.Values{FieldWith: {v.Booked.ComeWith}, FieldHow: {how}}.Encode()
}

// ComeWays are the ways in which somebody can come with her.
func (v bookView) ComeWays() []Option {
	return slices.DeleteFunc(slices.Clone(togetherOptions), func(o Option) bool { return v.Booked.How != "" && o.ID != v.Booked.How })
}

// Until says until when something is pencilled, with the day unless that is the
// day of the page.
func (v bookView) Until(p PencilledView) string {
	if v.Day(p.Until) != v.Day(p.Now) {
		return v.Day(p.Until) + " " + v.At(p.Until)
	}
	return v.At(p.Until)
}

// SecondsLeft is how long it stays pencilled from the making of the page on, 0
// when that is over.
func (v bookView) SecondsLeft(p PencilledView) int {
	return max(0, int(p.Until.Sub(p.Now)/time.Second))
}

// HoldFor says how long an opening is pencilled.
func (v bookView) HoldFor() string {
	if v.HoldMinutes%60 == 0 && v.HoldMinutes > 0 {
		return chairtime.Hours(v.HoldMinutes)
	}
	return minutesWords(v.HoldMinutes)
}

// PencilValue is what the button posts that pencils an opening.
func (v bookView) PencilValue(o OpeningView) string {
	return Action{Kind: ActPencil, Opening: o.ID}.value()
}

// BookedWhen is When for what was booked.
func (v bookView) BookedWhen(b BookedView) string {
	return v.visitWords(b.Start, b.End, b.With, b.Chair)
}

func (v bookView) visitWords(start, end time.Time, with, chair string) string {
	s := v.Day(start) + " " + v.At(start)
	if with != "" {
		s += " with " + with
	}
	if chair != "" {
		s += ", " + chair
	}
	if v.Day(start) != v.Day(end) {
		return s + ", ends " + v.Day(end) + " " + v.At(end)
	}
	return s + ", ends " + v.At(end)
}

// Dry says until when the hair must stay dry: "Sat 13:30", with the date when
// that is more than six days away.
func (v bookView) Dry(end time.Time, until *time.Time) string {
	t := until.In(v.in(*until).loc)
	if until.Sub(end) > 6*24*time.Hour {
		return t.Format("Mon 2 January ") + v.At(*until)
	}
	return t.Format("Mon ") + v.At(*until)
}

// Care says how long the hair must be left alone: "dry and untied until Sat
// 13:30", or "dry until Sat 13:30, untied until Sun 13:30".
func (v bookView) Care(end time.Time, dry, untied *time.Time) string {
	if untied == nil || untied.Equal(*dry) {
		return "dry and untied until " + v.Dry(end, dry)
	}
	return "dry until " + v.Dry(end, dry) + ", untied until " + v.Dry(end, untied)
}

// Cared is Care at the beginning of a sentence.
func (v bookView) Cared(end time.Time, dry, untied *time.Time) string {
	return "D" + v.Care(end, dry, untied)[1:]
}

// Fresh tells whether nothing has been asked for yet, so that the first field
// takes the focus.
func (v bookView) Fresh() bool { return v.Step == StepForm && len(v.Summary) == 0 && !v.Sought() }

// Sought tells whether a search for a client is what the last step did.
func (v bookView) Sought() bool {
	return v.Step == StepForm && v.MatchWords != "" && len(v.Summary) == 0
}

// Chosen reports whether a match is the chosen client.
func (v bookView) Chosen(m ClientMatch) bool { return m.ID == v.Fields.Client }

// Unlisted reports whether a client is chosen who is none of the matches.
func (v bookView) Unlisted() bool {
	return v.Fields.Client != "" && !slices.ContainsFunc(v.Matches, v.Chosen)
}

// About is what tells a match from others of that name.
func (m ClientMatch) About() string {
	var out []string
	if m.Phone != "" {
		out = append(out, "number ends "+m.Phone)
	}
	if m.Last != "" {
		out = append(out, "here "+m.Last)
	}
	if m.Next != "" {
		out = append(out, "comes "+m.Next)
	}
	return strings.Join(out, ", ")
}

// LaterValue, OnlyValue and ConsultValue are what the buttons post that look from
// a later day on, with one stylist, and that pencil behind a consultation.
func (v bookView) LaterValue() string { return Action{Kind: ActLater, Date: v.LaterFrom}.value() }

// OnlyValue is described with LaterValue.
func (v bookView) OnlyValue(id string) string { return Action{Kind: ActOnly, Lead: id}.value() }

// ConsultValue is described with LaterValue.
func (v bookView) ConsultValue(o OpeningView) string {
	return Action{Kind: ActConsult, Opening: o.ID}.value()
}

// LaterDay is the day of LaterFrom in words.
func (v bookView) LaterDay() string {
	t, err := time.Parse(time.DateOnly, v.LaterFrom)
	if err != nil {
		return v.LaterFrom
	}
	return t.Format("Mon 2 January")
}

// PlanValue is what the button of a plan posts.
func (v bookView) PlanValue(p PlanView) string {
	return Action{Kind: ActPlan, Hands: p.Hands, Batches: p.Batches}.value()
}

// BookValue is what the button of an opening posts.
func (v bookView) BookValue(o OpeningView) string {
	return Action{Kind: ActBook, Opening: o.ID}.value()
}

// KeyName is the name of the opening's hidden field.
func (v bookView) KeyName(o OpeningView) string { return KeyField(o.ID) }

// Length returns what is kept in words: "4½ hours".
func (v bookView) Length(minutes int) string { return chairtime.Hours(minutes) }

// Lasts says how long an opening is from start to end, and how much of it is
// waiting.
func (v bookView) Lasts(o OpeningView) string {
	s := chairtime.Hours(wholeMinutes(o.Start, o.End))
	if o.Waiting > 0 {
		s += ", " + strconv.Itoa(o.Waiting) + " min of it waiting"
	}
	return s
}

// Whole rounds minutes.
func (v bookView) Whole(m float64) int { return int(math.Round(m)) }

// Minutes returns expected minutes with one decimal.
func (v bookView) Minutes(m float64) string { return strconv.FormatFloat(m, 'f', 1, 64) }

// FirstSection returns whole minutes.
func (v bookView) FirstSection(minutes float64) string {
	return strconv.FormatFloat(minutes, 'f', 0, 64)
}
