package owner

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) pacePages() {
	p.get("/set-up/pace", "report-salon", (*visit).paceSheet)
	p.post("/set-up/pace/settings", "set-pace-settings", (*visit).savePace, (*visit).paceSheet)
}

// reportMonths is what the page covers.
const reportMonths = "12"

func (v *visit) paceSheet() (*sheet, error) {
	q := url.Values{"months": {reportMonths}}
	r, err := web.Get[api.PaceReportBody](v.ctx, v.site, "/reports/pace", q)
	if err != nil {
		return nil, err
	}
	n, err := web.Get[api.SalonReportBody](v.ctx, v.site, "/reports/salon", q)
	if err != nil {
		return nil, err
	}
	set, tag, err := tagged[api.PaceSettingsBody](v, "/pace-settings")
	if err != nil {
		return nil, err
	}
	staff, err := v.staff()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Pace and promise")
	s.Parts = append(s.Parts, part{Text: []string{fmt.Sprintf("%s to %s. %s", dayWords(n.First), dayWords(n.Last), n.Note)}})
	for _, make := range []func() (part, error){
		func() (part, error) { return promisePart(r) },
		func() (part, error) { return stepPart(r) },
		func() (part, error) { return usePart(n) },
		func() (part, error) { return missedPart(n) },
		func() (part, error) { return aheadPart(n) },
	} {
		p, err := make()
		if err != nil {
			return nil, err
		}
		s.Parts = append(s.Parts, p)
	}
	s.Parts = append(s.Parts, paceRows(r), learningPart(set, staff, tag))
	return s, nil
}

// month is a month as people say it.
func month(text string) string {
	t, err := time.Parse("2006-01", text)
	if err != nil {
		return text
	}
	return t.Format("January 2006")
}

// chart is one of the drawings of package pages.
type chart interface {
	SVG() (string, error)
	Table() pages.FigureTable
}

func figure(title string, c chart) ([]pages.Figure, error) {
	svg, err := c.SVG()
	if err != nil {
		return nil, fmt.Errorf("owner: chart: %w", err)
	}
	return []pages.Figure{pages.NewFigure(title, svg, c.Table())}, nil
}

func promisePart(r api.PaceReportBody) (part, error) {
	p := part{ID: "promise", Title: "Was the promise kept?"}
	for _, w := range r.Words {
		p.List = append(p.List, link{Text: w})
	}
	c := pages.PromiseChart{Promise: 0.8}
	for _, k := range r.Promise.ByQuantile { // the one that most visits were promised
		if k.Minutes.Of > 0 {
			c.Promise = k.Promised
		}
	}
	for _, m := range r.Promise.Months {
		c.Months = append(c.Months, pages.PromiseMonth{Month: month(m.Month), Kept: m.Kept, Visits: m.Visits})
	}
	var err error
	p.Figures, err = figure("Visits that ended in the promised time, by month", c)
	return p, err
}

func stepPart(r api.PaceReportBody) (part, error) {
	p := part{ID: "steps", Title: "Expected and real, step by step", Text: []string{r.Note}}
	var c pages.PaceChart
	for _, q := range r.Quartiles {
		c.Steps = append(c.Steps, pages.PaceStep{Step: q.Label, Expected: q.Expected, Low: q.Low, Middle: q.Middle, High: q.High, Visits: q.Steps})
	}
	var err error
	p.Figures, err = figure("Real over expected minutes of each step", c)
	return p, err
}

// useRow is a bar of what was booked and what was free, in hours. What was booked
// beyond the open hours leaves nothing free.
func useRow(label string, u api.UseBody) pages.UseRow {
	return pages.UseRow{Label: label, Hours: []float64{float64(u.BookedMinutes) / 60, float64(max(0, u.OpenMinutes-u.BookedMinutes)) / 60}}
}

func usePart(n api.SalonReportBody) (part, error) {
	p := part{ID: "use", Title: "Use of chairs and hands"}
	kinds := []string{"booked", "free"}
	weekday := func(title string, of func(api.WeekdayUseBody) api.UseBody) pages.UseChart {
		c := pages.UseChart{Title: title, Row: "weekday", Kinds: kinds}
		for _, d := range n.Weekdays {
			c.Rows = append(c.Rows, useRow(dayNames[d.Weekday-1], of(d)))
		}
		return c
	}
	week := pages.UseChart{Title: "Chairs, by week", Row: "week from", Kinds: kinds}
	for _, w := range n.Weeks[max(0, len(n.Weeks)-mostWeeks):] {
		week.Rows = append(week.Rows, useRow(dayWords(w.Monday), w.Chairs))
	}
	units := pages.UseChart{Title: "Everybody and everything", Row: "who or what", Kinds: kinds}
	for _, u := range n.Units[:min(len(n.Units), mostUnits)] {
		units.Rows = append(units.Rows, useRow(u.Name, u.UseBody))
	}
	for _, c := range []pages.UseChart{weekday("Chairs, by weekday", func(d api.WeekdayUseBody) api.UseBody { return d.Chairs }),
		weekday("Stylists, by weekday", func(d api.WeekdayUseBody) api.UseBody { return d.Stylists }), week, units} {
		f, err := figure(c.Title, c)
		if err != nil {
			return p, err
		}
		p.Figures = append(p.Figures, f...)
	}
	return p, nil
}

// What the charts show at most (judgement): a quarter of a year of weeks, and rows of
// units.
const (
	mostWeeks = 13
	mostUnits = 40
)

func missedPart(n api.SalonReportBody) (part, error) {
	p := part{ID: "missed", Title: "Did not come"}
	var c pages.NoShowChart
	for _, m := range n.Months {
		c.Months = append(c.Months, pages.NoShowMonth{Month: month(m.Month), Missed: m.Missed, Visits: m.Came + m.Missed})
	}
	var err error
	p.Figures, err = figure("Clients who did not come, by month", c)
	return p, err
}

func aheadPart(n api.SalonReportBody) (part, error) {
	p := part{ID: "ahead", Title: "How far ahead visits are booked"}
	a := n.Ahead
	if a.Visits > 0 {
		p.Text = []string{fmt.Sprintf("Half of %s were written down more than %s before, a quarter more than %s.", countWords(a.Visits, "visit"), aheadWords(a.P50), aheadWords(a.P75))}
	}
	c := pages.LeadTimeChart{Bins: pages.LeadTimeBins(nil)}
	for i := range c.Bins {
		if i < len(a.Bins) {
			c.Bins[i].Visits = a.Bins[i].Visits
		}
	}
	var err error
	p.Figures, err = figure("Visits by how long before they were booked", c)
	return p, err
}

// aheadWords says hours as people do.
func aheadWords(hours float64) string {
	if hours < 48 {
		return fmt.Sprintf("%.0f hours", hours)
	}
	return fmt.Sprintf("%.0f days", hours/24)
}

// paceRows is what was learned, person by person.
func paceRows(r api.PaceReportBody) part {
	p := part{ID: "people", Title: "What was learned"}
	if r.Off {
		p.Text = append(p.Text, "Learning is switched off: estimates keep the sheet's times.")
	}
	t := table{Caption: "Pace of everybody by step", Head: append(heads("Step", "Whose"), number("Visits"), number("Factor"), number("8 of 10 between"), number("In use"))}
	for _, x := range r.Steps {
		whose := cmp.Or(x.StaffName, "the salon")
		if x.WithName != "" {
			whose += " with " + x.WithName
		}
		used := "—"
		if x.Used > 0 {
			used = fmt.Sprintf("%.2f", x.Used)
		}
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: x.Label}, {Text: whose}, number(fmt.Sprint(x.Visits)), number(fmt.Sprintf("%.2f", x.Factor)),
			number(fmt.Sprintf("%.2f–%.2f", x.Low, x.High)), number(used)}})
	}
	if len(t.Rows) == 0 {
		p.Text = append(p.Text, "Nothing yet: it begins with the first visits whose steps are noted.")
		return p
	}
	p.Tables = []table{t}
	return p
}

func learningPart(b api.PaceSettingsBody, staff []api.StaffBody, tag string) part {
	f := form{ID: "pace", Action: "/set-up/pace/settings", Hidden: []hidden{version(tag)}, Fields: []pages.Field{
		pages.Tick("pace-learn", "Estimates follow the records", "Everything is worked out anew at once", !b.Off),
		pages.Input("pace-counts_from", "Only visits from", "Empty: all; such as after a new iron", "date", b.CountsFrom),
	}, Buttons: save("Save")}
	people := group{Fold: "One by one", Open: len(b.Staff) > 0}
	for _, x := range staff {
		var own api.PaceOfStaffBody
		for _, y := range b.Staff {
			if y.StaffID == x.ID {
				own = y
			}
		}
		people.Fields = append(people.Fields, pages.Tick("pace-staff-"+x.ID+"-learn", x.Name+": estimates follow the records", "Otherwise the salon's pace holds", !own.Off),
			pages.Input("pace-staff-"+x.ID+"-counts_from", x.Name+": only visits from", "Empty: as for everybody", "date", own.CountsFrom))
	}
	constants := group{Fold: "Constants of learning"}
	for _, x := range b.List {
		label := strings.ReplaceAll(x.Name, "_", " ")
		if x.Unit != "" {
			label += " (" + x.Unit + ")"
		}
		constants.Open = constants.Open || x.Value != x.Default
		constants.Fields = append(constants.Fields, pages.Number("pace-constants-"+x.Name, pages.Capital(label),
			fmt.Sprintf("%s to %s, usually %s. %s", plain(x.Min), plain(x.Max), plain(x.Default), sentence(x.Source)), plain(x.Value)))
	}
	f.Groups = []group{people, constants}
	return part{ID: "learning", Title: "Learning", Forms: []form{f}}
}

func (v *visit) savePace() (answer, error) {
	b, _, err := tagged[api.PaceSettingsBody](v, "/pace-settings")
	if err != nil {
		return answer{}, err
	}
	var f faults
	b.Off, b.CountsFrom = !v.ticked("learn"), v.typed("counts_from")
	b.Constants = v.ownConstants("constants-", b.List, &f)
	b.Staff, b.List = v.paceOfStaff(b.Staff), nil
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err = v.ask(http.MethodPut, "/pace-settings", b, nil)
	return answer{to: "/set-up/pace?done=saved#learning"}, err
}

// paceOfStaff reads what holds for one person or another. Who has no field, such as
// somebody who has left, keeps what there is of her.
func (v *visit) paceOfStaff(was []api.PaceOfStaffBody) []api.PaceOfStaffBody {
	var out []api.PaceOfStaffBody
	for _, x := range was {
		if !v.form.Has(v.name("staff-" + x.StaffID + "-counts_from")) {
			out = append(out, x)
		}
	}
	var ids []string
	for field := range v.form {
		id, ours := strings.CutPrefix(field, v.name("staff-"))
		if id, is := strings.CutSuffix(id, "-counts_from"); ours && is {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	for _, id := range ids {
		x := api.PaceOfStaffBody{StaffID: id, Off: !v.ticked("staff-" + id + "-learn"), CountsFrom: v.typed("staff-" + id + "-counts_from")}
		if x.Off || x.CountsFrom != "" {
			v.at[fmt.Sprintf("/staff/%d", len(out))] = v.name("staff-" + id + "-counts_from")
			out = append(out, x)
		}
	}
	return out
}
