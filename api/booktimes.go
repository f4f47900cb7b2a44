package api

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

const (
	// timesAtFirst is how many times the page offers before more are asked for, and
	// timesOfADay how many of them one day has at most: two that differ are chosen
	// between more quickly than eight that do not (judgement).
	timesAtFirst = 8
	timesOfADay  = 3
	// timesEvery is the distance of the starts that are looked at before more are
	// asked for, in minutes (judgement: times as people say them).
	timesEvery = 30
	// mostTimes bounds how many are shown at all (judgement: eight times as many as at
	// first).
	mostTimes = 64
)

// many is how many times the page shows.
func (b *booking) many() int {
	n, err := strconv.Atoi(b.page.Fields.Many)
	if err != nil {
		return timesAtFirst
	}
	return max(timesAtFirst, min(n, mostTimes))
}

// find lists openings, the best first, each with a key of its own, so that
// pressing twice books once. Where a consultation has to come first its times are
// listed, and the openings are those behind it.
func (b *booking) find(ctx context.Context) error {
	ask := OpeningsRequest{Services: b.req, FirstDate: b.page.Fields.DateFrom, ClientID: b.page.Fields.Client, Order: orderBest,
		Limit: min(200, 9*b.many()), Grid: timesEvery}
	if b.many() > timesAtFirst {
		ask.Grid = 0
	}
	if b.phone != nil && b.phone.OnlyConsultation {
		from, err := b.findConsultation(ctx)
		if err != nil {
			return err
		}
		ask.NotBefore = from
	}
	if b.first != nil && b.page.Behind == "" {
		return b.listBeside(ctx)
	}
	a, err := b.s.openings(ctx, b.t, b.n, b.c, ask, "")
	if err != nil {
		return err
	}
	b.page.Step = pages.StepOpenings
	if err := b.ableLeads(ctx); err != nil {
		return err
	}
	shown := varied(a.Openings, b.many(), b.n.loc)
	b.page.MoreOpenings = len(shown) == b.many() && b.many() < mostTimes && len(shown) < len(a.Openings)
	b.page.LaterFrom = b.laterThan(shown)
	if err := b.list(ctx, b.c, shown, &b.page.Openings); err != nil {
		return err
	}
	if err := b.askSoon(ctx, shown); err != nil {
		return err
	}
	b.page.Estimate.Cautions = append(b.page.Estimate.Cautions, cautionViews(spacingNotes(shown))...)
	switch {
	case len(a.Missing) > 0:
		b.page.NoOpenings = "This cannot be booked yet. The salon lacks: " + strings.Join(a.Missing, "; ") + "."
		b.page.SetUpHref = setUpHref(ctx)
		if b.page.SetUpHref == "" {
			b.page.NoOpenings += " " + whoSetsUp
		}
	case len(shown) == 0:
		b.page.NoOpenings = "Nothing is free in the four weeks from that day. Try a later day, or any stylist."
	}
	return nil
}

// listBeside lists the openings beside another visit.
func (b *booking) listBeside(ctx context.Context) error {
	shown, err := b.findBeside(ctx)
	if err != nil {
		return err
	}
	b.page.Step = pages.StepOpenings
	if err := b.ableLeads(ctx); err != nil {
		return err
	}
	if err := b.list(ctx, b.c, shown, &b.page.Openings); err != nil {
		return err
	}
	if len(shown) == 0 {
		b.page.NoOpenings = "Nothing fits beside " + b.page.Beside.Who + "’s visit (" + groupWords(b.wishedHow()) + "). Try another way to come together, or another stylist; or move her visit first."
	}
	if err := b.askSoon(ctx, shown); err != nil {
		return err
	}
	b.page.Estimate.Cautions = append(b.page.Estimate.Cautions, cautionViews(spacingNotes(shown))...)
	return nil
}

// ableLeads names who may be asked for alone.
func (b *booking) ableLeads(ctx context.Context) error {
	staff, err := b.t.StaffList(ctx)
	for _, p := range staff {
		if p.MayLead && p.Active && b.c.needsOnly(p.Skills) {
			b.page.Able = append(b.page.Able, pages.Option{ID: p.ID, Name: p.Name})
		}
	}
	return err
}

// list shows openings with their days.
func (b *booking) list(ctx context.Context, c *composed, list []OpeningBody, into *[]pages.OpeningView) error {
	days := map[date.Date]*dayView{}
	for _, o := range list {
		v := openingView(o)
		v.Key = store.NewID()
		on := scheduling.CivilDate(o.Start, b.n.loc)
		if days[on] == nil {
			x, err := b.s.loadDay(ctx, b.t, b.n, on)
			if err != nil {
				return err
			}
			days[on] = x
		}
		if o.ToCents > 0 {
			v.Price = b.n.rangeWords(o.FromCents, o.ToCents)
		}
		v.Small = days[on].small(c, o)
		*into = append(*into, v)
	}
	return nil
}

func openingView(o OpeningBody) pages.OpeningView {
	v := pages.OpeningView{ID: strconv.FormatInt(o.Start.Unix(), 10) + "-" + o.LeadID, Start: o.Start, End: o.End, DryUntil: o.KeepDryUntil,
		UntiedUntil: o.UntiedUntil, With: o.LeadName, Chair: o.ChairName, Waiting: o.WaitMinutes}
	if o.Rank != nil {
		v.Why = o.Rank.Words
	}
	for _, x := range o.Shares {
		v.Why = andSo(v.Why, x.Words)
	}
	return v
}

func andSo(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// varied chooses n of ranked openings in their order, but of each day only a few,
// and of starts with one stylist that lie within two hours of each other only the
// best: the others follow when more are asked for.
func varied(list []OpeningBody, n int, loc *time.Location) []OpeningBody {
	perDay := timesOfADay * max(1, n/timesAtFirst)
	apart := 2 * time.Hour / time.Duration(max(1, n/timesAtFirst))
	var out []OpeningBody
	of := map[date.Date]int{}
	for _, o := range list {
		day := scheduling.CivilDate(o.Start, loc)
		like := func(k OpeningBody) bool { return k.LeadID == o.LeadID && k.Start.Sub(o.Start).Abs() < apart }
		if len(out) == n || of[day] == perDay || slices.ContainsFunc(out, like) {
			continue
		}
		of[day]++
		out = append(out, o)
	}
	return out
}

// laterThan is the day after the last of those shown, or four weeks (judgement) after the
// day from which nothing was found.
func (b *booking) laterThan(list []OpeningBody) string {
	last := scheduling.CivilDate(b.s.now(), b.n.loc)
	var f scheduling.Faults
	if d := day(&f, pages.FieldDateFrom, b.page.Fields.DateFrom); len(f) == 0 && d.After(last) {
		last = d
	}
	if len(list) == 0 {
		return last.Add(28).String()
	}
	for _, o := range list {
		if d := scheduling.CivilDate(o.Start, b.n.loc); d.After(last) {
			last = d
		}
	}
	return last.Add(1).String()
}

// askSoon asks for the licensed person's yes where times are offered that begin
// before a new skin test can have been read.
func (b *booking) askSoon(ctx context.Context, list []OpeningBody) error {
	c, hours := b.c, b.n.time.PatchTestHours
	soon := b.s.now().Add(time.Duration(hours * float64(time.Hour)))
	if !c.cautionsSkin(b.n) || !slices.ContainsFunc(list, func(o OpeningBody) bool { return o.Start.Before(soon) }) {
		return nil
	}
	if err := c.prove(ctx, b.t, b.n, b.page.Fields.Client, list[0].Start); err != nil || c.tested {
		return err
	}
	for k, x := range b.page.Estimate.Cautions {
		if x.Text == b.n.sayMadeBefore().Text {
			b.page.Estimate.Cautions[k] = pages.Caution{Level: pages.CautionNeedsYes, Text: fmt.Sprintf(
				"Times before %s are too soon for a new skin test: the licensed person says whether an earlier one still counts.",
				soon.In(b.n.loc).Format("Mon 2 January 15:04"))}
		}
	}
	return nil
}

// small draws the day of the stylist with an opening on it, "" where that cannot be
// drawn.
func (x *dayView) small(c *composed, o OpeningBody) template.HTML {
	if o.at == nil {
		return ""
	}
	v := store.Visit{Services: slices.Clone(c.services)}
	o.at.visit(&v)
	var line pages.Line
	x.personLine(&line, o.LeadID)
	d := pages.DaySmall{Name: o.LeadName, Label: x.from.Format("Mon 2 Jan"), Taken: line.Parts, Chair: []pages.TimeSpan{x.local(o.Start, o.End)}, ChairName: o.ChairName}
	for _, u := range x.shop.Units {
		if u.ID == o.LeadID {
			d.Open, d.Breaks = x.timeSpans(u.Open), x.timeSpans(u.Breaks)
		}
	}
	for _, k := range x.blocks[o.ChairID] {
		d.ChairTaken = append(d.ChairTaken, x.local(k.Start, k.End))
	}
	for i := range v.Steps {
		if p, ok := x.personPart(v, i, o.LeadID); ok {
			p.Href = ""
			d.Offer = append(d.Offer, p)
		}
	}
	d.From, d.To = x.bounds()
	if o.Start.Before(d.From) {
		d.From = o.Start.Truncate(time.Hour)
	}
	if o.End.After(d.To) {
		d.To = o.End.Add(time.Hour).Truncate(time.Hour)
	}
	svg, err := d.SVG()
	if err != nil {
		return "" // the words say it all
	}
	return template.HTML(svg) // made by package pages
}
