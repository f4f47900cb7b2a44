package api

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

// usualReportMonths is what a report covers that says nothing else (judgement: a year, so
// that every season is in it).
const usualReportMonths = 12

type paceReportInput struct {
	StaffID string `query:"staff_id" maxLength:"64" doc:"Only visits and steps of this person; a stylist sees only her own"`
	Months  int    `query:"months" minimum:"1" maximum:"36" doc:"How far back, up to now; left out: 12"`
}
type paceReportOutput struct{ Body PaceReportBody }

// PaceReportBody says how promises were kept and how quickly people work.
type PaceReportBody struct {
	From    time.Time     `json:"from"`
	To      time.Time     `json:"to"`
	StaffID string        `json:"staff_id,omitempty" doc:"Whose visits; left out: everybody's"`
	Words   []string      `json:"words" nullable:"false" doc:"The report in sentences"`
	Promise PromiseBody   `json:"promise"`
	Steps   []PaceRowBody `json:"steps" nullable:"false" doc:"In the order of a visit; the salon before its people"`
	// Quartiles are of what was measured, before anything is drawn anywhere.
	Quartiles []QuartileBody `json:"quartiles" nullable:"false" doc:"Real over expected minutes of every kind of step, for a chart"`
	// Counted and LeftOut are observations, a step of a visit each.
	Counted  int            `json:"counted" doc:"Steps of visits that count, of everybody"`
	LeftOut  map[string]int `json:"left_out" doc:"Steps that do not count, of everybody, by reason"`
	FittedAt *time.Time     `json:"fitted_at,omitempty" doc:"When the pace that estimates use was worked out; left out: never"`
	Fit      int64          `json:"fit_version,omitempty"`
	Off      bool           `json:"off,omitempty" doc:"Estimates keep the sheet's times: learning is switched off"`
	Note     string         `json:"note" doc:"What the figures can and cannot say"`
}

// PromiseBody is how the promised length of visits was kept.
type PromiseBody struct {
	ByQuantile []KeptBody     `json:"by_quantile" nullable:"false"`
	Bins       []BinBody      `json:"bins" nullable:"false" doc:"Visits by real over promised minutes, for a chart"`
	Weeks      []WeekBody     `json:"weeks" nullable:"false" doc:"Weeks with visits, oldest first, for a chart"`
	Months     []MonthBody    `json:"months" nullable:"false" doc:"The same by the month in which the visit began"`
	LeftOut    map[string]int `json:"left_out" doc:"Visits that do not count, by reason"`
}

// MonthBody is how promises were kept in a month.
type MonthBody struct {
	Month  string `json:"month" example:"2026-05"`
	Visits int    `json:"visits"`
	Kept   int    `json:"within_promise"`
	Block  int    `json:"within_block"`
}

// KeptBody is how promises of one share were kept.
type KeptBody struct {
	Promised float64   `json:"promised_share" example:"0.8"`
	Minutes  ShareKept `json:"within_promise" doc:"Within the minutes that were worked out, not rounded up"`
	Block    ShareKept `json:"within_block" doc:"Within the whole minutes that were booked"`
}

// ShareKept is a share with the interval that holds the true one in 95 of 100
// cases.
type ShareKept struct {
	Kept  int     `json:"kept"`
	Of    int     `json:"of"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// BinBody is a bar of a chart.
type BinBody struct {
	From   float64  `json:"from"`
	To     *float64 `json:"to,omitempty" doc:"Left out: without end"`
	Visits int      `json:"visits"`
}

// WeekBody is the visits of a week.
type WeekBody struct {
	Monday string  `json:"monday" format:"date"`
	Visits int     `json:"visits"`
	Kept   int     `json:"within_promise"`
	Block  int     `json:"within_block"`
	Ratio  float64 `json:"middle_ratio" doc:"Half of the visits took less than this part of the promised minutes"`
}

// PaceRowBody is what records say of one kind of step.
type PaceRowBody struct {
	Kind      string  `json:"kind" example:"iron"`
	Label     string  `json:"label" example:"ironing"`
	StaffID   string  `json:"staff_id,omitempty" doc:"Left out: the salon as a whole"`
	StaffName string  `json:"staff_name,omitempty"`
	WithID    string  `json:"with_id,omitempty" doc:"Second pair of hands"`
	WithName  string  `json:"with_name,omitempty"`
	Pair      bool    `json:"pair,omitempty" doc:"Done by two pairs of hands, which have a pace of their own"`
	Visits    int     `json:"visits"`
	Weight    float64 `json:"effective_visits" doc:"What they are worth: old ones lose weight, and steps that share a noted stretch count a part"`
	Since     string  `json:"since" format:"date"`
	Bias      float64 `json:"bias_percent" doc:"How much longer than the sheet they took, bare"`
	Spread    float64 `json:"spread_percent" doc:"How far they lie apart; 0 with fewer than two that have both ends noted"`
	Factor    float64 `json:"factor" doc:"What the sheet's mean is multiplied by, drawn towards the salon and the sheet where visits are few"`
	Low       float64 `json:"factor_low" doc:"Of 10 such factors, 8 lie between low and high"`
	High      float64 `json:"factor_high"`
	Used      float64 `json:"used_factor,omitempty" doc:"What estimates use now; left out: nothing"`
	Words     string  `json:"words"`
}

const paceNote = "Figures from few visits are drawn towards the sheet. They describe what was noted, not how good somebody is: " +
	"hair, interruptions and forgotten presses are in them. Product times are never learned."

func (s *Server) reportPace(ctx context.Context, in *paceReportInput) (*paceReportOutput, error) {
	var out paceReportOutput
	months := cmp.Or(in.Months, usualReportMonths)
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		of, err := reportOf(ctx, t, in.StaffID)
		if err != nil {
			return err
		}
		out.Body, err = s.paceReport(ctx, t, n, months, of)
		return err
	})
	return &out, err
}

// reportFor is who a report is about: everybody where only is "".
type reportFor struct {
	only string
	// alone leaves out what is about others, too; nobody leaves out everything.
	alone, nobody bool
}

// reportOf is whose report the caller may see.
func reportOf(ctx context.Context, t *store.Tx, asked string) (reportFor, error) {
	p := principal(ctx)
	if p.Role == store.LeadRole {
		if asked != "" && asked != p.StaffID {
			return reportFor{}, newProblem(http.StatusForbidden, "forbidden", "a stylist sees her own report, and the owner everybody's")
		}
		return reportFor{only: p.StaffID, alone: true, nobody: p.StaffID == ""}, nil
	}
	if asked == "" {
		return reportFor{}, nil
	}
	if _, err := t.StaffByID(ctx, asked); is(err, scheduling.ErrNotFound) {
		return reportFor{}, &scheduling.InvalidError{Field: "query.staff_id", Problem: "is not known", Want: "the id of a person of this salon"}
	} else if err != nil {
		return reportFor{}, err
	}
	return reportFor{only: asked}, nil
}

// PaceReport is the report of a salon outside of a request, as the owner sees
// it. It returns an *scheduling.InvalidError for staff who are not known.
func (s *Server) PaceReport(ctx context.Context, salon, staff string, months int) (PaceReportBody, error) {
	out, err := s.reportPace(withPrincipal(ctx, store.Principal{Salon: salon, Role: store.Owner}), &paceReportInput{StaffID: staff, Months: months})
	if err != nil {
		return PaceReportBody{}, err
	}
	return out.Body, nil
}

func (s *Server) paceReport(ctx context.Context, t *store.Tx, n salonDay, months int, of reportFor) (PaceReportBody, error) {
	set, err := paceSettings(n.row)
	if err != nil {
		return PaceReportBody{}, err
	}
	fit, promises, seen, err := s.fitRecords(ctx, t, n, months)
	if err != nil {
		return PaceReportBody{}, err
	}
	promises = slices.DeleteFunc(promises, func(p pace.Promise) bool { return of.nobody || of.only != "" && p.Staff != of.only })
	used, err := t.AllPaces(ctx)
	if err != nil {
		return PaceReportBody{}, err
	}
	names, err := staffNames(ctx, t)
	if err != nil {
		return PaceReportBody{}, err
	}
	fit.Rows = slices.DeleteFunc(fit.Rows, func(r pace.Row) bool { return !of.shows(r) })
	out := NewPaceReportBody(fit, pace.Promises(promises, n.loc), names, n.loc)
	now := s.now()
	out.Quartiles = quartiles(seen, of)
	out.Promise.Months = byMonth(out.Promise.Months, promises, n.loc)
	out.From, out.To, out.StaffID, out.Off = now.AddDate(0, -months, 0).In(n.loc), now.In(n.loc), of.only, set.Off
	for i, r := range fit.Rows {
		if u, ok := rowLike(used, r); ok && !set.Off {
			out.Steps[i].Used = decimals(u.Factor, 4)
		}
	}
	if of.nobody {
		out.Words = []string{"This token is nobody's own: a stylist's own token shows her report, and the owner's shows everybody's."}
	}
	if last, err := t.LastPaceFit(ctx); err == nil {
		out.FittedAt, out.Fit = new(last.Fitted.In(n.loc)), last.Version
	} else if !is(err, scheduling.ErrNotFound) {
		return out, err
	}
	return out, nil
}

// NewPaceReportBody writes what records say for the border; names are those of
// people by id, who are shown by their id where they have none.
func NewPaceReportBody(fit pace.Fit, promises pace.PromiseReport, names map[string]string, loc *time.Location) PaceReportBody {
	out := PaceReportBody{Quartiles: []QuartileBody{}, Promise: writePromises(promises), Steps: make([]PaceRowBody, len(fit.Rows)), Counted: fit.Counted,
		LeftOut: byReason(fit.LeftOut), Note: paceNote}
	for i, r := range fit.Rows {
		out.Steps[i] = writePaceRow(r, names, loc)
	}
	out.Words = reportWords(promises, out.Steps)
	return out
}

// shows reports whether a row belongs into the report.
func (of reportFor) shows(r pace.Row) bool {
	switch {
	case of.nobody:
		return false
	case of.alone:
		return r.Staff == of.only && !r.Pair
	case of.only != "":
		return r.Staff == "" || r.Staff == of.only || r.With == of.only
	}
	return true
}

// rowLike finds the row about the same as r.
func rowLike(list []pace.Row, r pace.Row) (pace.Row, bool) {
	for _, u := range list {
		if u.Kind == r.Kind && u.Pair == r.Pair && u.Staff == r.Staff && u.With == r.With {
			return u, true
		}
	}
	return pace.Row{}, false
}

func staffNames(ctx context.Context, t *store.Tx) (map[string]string, error) {
	list, err := t.StaffList(ctx)
	names := map[string]string{}
	for _, p := range list {
		names[p.ID] = p.Name
	}
	return names, err
}

func byReason(list map[pace.Reason]int) map[string]int {
	out := map[string]int{}
	for why, n := range list {
		out[string(why)] = n
	}
	return out
}

// promiseOf is what was promised of a visit. Only visits of one service with an
// estimate have one promise for all of them; planned waits are added to it.
func promiseOf(r *store.PaceRecord) (pace.Promise, bool) {
	v := &r.Visit
	x, ok := r.Expected[0]
	if !ok || len(v.Services) != 1 || len(v.Steps) == 0 || x.Share == 0 {
		return pace.Promise{}, false
	}
	p := pace.Promise{Visit: v.ID, Staff: v.Services[0].Lead, At: v.Start, Quantile: x.Share, Minutes: x.PromisedMinutes(), Block: x.Block, Out: recordOut(r)}
	waits := v.Steps[len(v.Steps)-1].End.Sub(v.Steps[0].Start).Minutes()
	for _, st := range v.Steps {
		waits -= st.End.Sub(st.Start).Minutes()
	}
	p.Minutes += waits
	p.Block += waits
	f := factsOf(*v)
	marks := f.marks()
	switch began := v.Start; {
	case v.FinishedAt == nil || len(marks) == 0 && f.arrived == nil:
		p.Out = firstReason(p.Out, pace.NotNoted)
	default:
		if len(marks) > 0 && f.starts[0] != nil {
			began = *f.starts[0]
		} else if len(marks) > 0 {
			began = laterWithin(f.came(*v, marks[0]), v.Start, marks[0].at)
		} else if f.arrived.After(began) {
			began = *f.arrived
		}
		p.Real = v.FinishedAt.Sub(began).Minutes()
	}
	if p.Minutes <= 0 || p.Real <= 0 {
		p.Out = firstReason(p.Out, pace.Unlikely)
	}
	return p, true
}

func firstReason(a, b pace.Reason) pace.Reason {
	if a != "" {
		return a
	}
	return b
}

func writePromises(r pace.PromiseReport) PromiseBody {
	out := PromiseBody{Months: []MonthBody{}, ByQuantile: make([]KeptBody, len(r.ByQuantile)), Bins: make([]BinBody, len(r.Bins)), Weeks: make([]WeekBody, len(r.Weeks)),
		LeftOut: byReason(r.LeftOut)}
	for i, k := range r.ByQuantile {
		out.ByQuantile[i] = KeptBody{k.Quantile, writeShare(k.Minutes), writeShare(k.Booked)}
	}
	for i, b := range r.Bins {
		out.Bins[i] = BinBody{From: b.From, Visits: b.Visits}
		if !math.IsInf(b.To, 1) {
			out.Bins[i].To = new(b.To)
		}
	}
	for i, w := range r.Weeks {
		out.Weeks[i] = WeekBody{w.Monday.Format(time.DateOnly), w.Visits, w.Kept, w.InBlock, decimals(w.Ratio, 4)}
	}
	return out
}

// byMonth adds up the promises that count by the months of loc, oldest first.
func byMonth(out []MonthBody, list []pace.Promise, loc *time.Location) []MonthBody {
	for _, p := range list {
		if p.Out != "" {
			continue
		}
		month := p.At.In(loc).Format("2006-01")
		i, there := slices.BinarySearchFunc(out, month, func(b MonthBody, m string) int { return strings.Compare(b.Month, m) })
		if !there {
			out = slices.Insert(out, i, MonthBody{Month: month})
		}
		out[i].Visits++
		if p.KeptMinutes() {
			out[i].Kept++
		}
		if p.KeptBlock() {
			out[i].Block++
		}
	}
	return out
}

func writeShare(s pace.Share) ShareKept {
	return ShareKept{s.Kept, s.Of, decimals(s.Value(), 4), decimals(s.Low, 4), decimals(s.High, 4)}
}

func writePaceRow(r pace.Row, names map[string]string, loc *time.Location) PaceRowBody {
	name := func(id string) string { return cmp.Or(names[id], id) }
	b := PaceRowBody{Kind: string(r.Kind), Label: pace.Doing(r.Kind), StaffID: r.Staff, StaffName: name(r.Staff), WithID: r.With, WithName: name(r.With),
		Pair: r.Pair, Visits: r.Visits, Weight: decimals(r.Weight, 2), Since: r.Since.In(loc).Format(time.DateOnly),
		Bias: decimals(100*math.Expm1(r.Bias), 2), Spread: decimals(100*r.CV, 2), Factor: decimals(r.Factor, 4), Low: decimals(r.Low, 4), High: decimals(r.High, 4)}
	whose := "the salon's"
	switch {
	case r.With != "":
		whose = b.StaffName + " and " + b.WithName + " together, their"
	case r.Staff != "":
		whose = b.StaffName + "'s"
	case r.Pair:
		whose = "the salon's pairs of hands, their"
	}
	b.Words = pace.Line(whose, r.Visits, r.Kind, r.Factor)
	return b
}

// reportWords are the report in sentences: promises first, then the steps that
// differ by more than chance is likely to, the ones that differ most before the
// others.
func reportWords(r pace.PromiseReport, steps []PaceRowBody) []string {
	out := []string{}
	for _, k := range r.ByQuantile {
		out = append(out, fmt.Sprintf("%.0f of 100 visits were to end within the promised minutes: of %d %s %d did, which is %.0f %% (by chance alone anything from %.0f to %.0f %%); %d ended within the booked block.",
			100*k.Quantile, k.Minutes.Of, visitsWord(k.Minutes.Of), k.Minutes.Kept, 100*k.Minutes.Value(), 100*k.Minutes.Low, 100*k.Minutes.High, k.Booked.Kept))
	}
	if len(r.ByQuantile) == 0 {
		out = append(out, "No visit is over yet whose length was promised and noted.")
	}
	moved := slices.DeleteFunc(slices.Clone(steps), func(b PaceRowBody) bool {
		return b.Pair || !pace.Said(b.Factor) || b.Low <= 1 && b.High >= 1
	})
	slices.SortStableFunc(moved, func(a, b PaceRowBody) int {
		return cmp.Compare(math.Abs(math.Log(b.Factor)), math.Abs(math.Log(a.Factor)))
	})
	for _, b := range moved {
		out = append(out, pages.Capital(b.Words)+".")
	}
	return out
}

func visitsWord(n int) string {
	if n == 1 {
		return "visit"
	}
	return "visits"
}
