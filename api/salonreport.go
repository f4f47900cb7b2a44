package api

import (
	"cmp"
	"context"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

type salonReportInput struct {
	Months int `query:"months" minimum:"1" maximum:"36" doc:"How far back, up to yesterday; left out: 12"`
}

// SalonReportBody says how the salon's chairs and hands were used, how many
// clients did not come, and how far ahead visits are booked.
type SalonReportBody struct {
	First    string           `json:"first_date" format:"date" doc:"Not before the month of the first visit"`
	Last     string           `json:"last_date" format:"date" doc:"Yesterday"`
	TimeZone string           `json:"time_zone"`
	Months   []MonthCountBody `json:"months" nullable:"false" doc:"Months with visits, oldest first"`
	Weeks    []WeekUseBody    `json:"weeks" nullable:"false" doc:"Every week, oldest first"`
	Weekdays []WeekdayUseBody `json:"weekdays" nullable:"false" doc:"Weekdays on which anything is open or was booked"`
	Units    []UnitUseBody    `json:"units" nullable:"false" doc:"Chairs, basins and people in use"`
	Ahead    LeadTimeBody     `json:"booked_ahead"`
	Note     string           `json:"note" doc:"What the figures can and cannot say"`
}

// MonthCountBody counts the visits that were to begin in a month.
type MonthCountBody struct {
	Month     string `json:"month" example:"2026-05"`
	Came      int    `json:"came" doc:"Finished, or stopped early"`
	Stopped   int    `json:"stopped_early"`
	Missed    int    `json:"did_not_come"`
	Cancelled int    `json:"cancelled"`
}

// UseBody is what was booked of what there was.
type UseBody struct {
	BookedMinutes int     `json:"booked_minutes"`
	OpenMinutes   int     `json:"open_minutes"`
	Share         float64 `json:"share" doc:"Booked of open; 0 where nothing is open"`
}

// WeekUseBody is the use of all chairs and of all stylists in a week.
type WeekUseBody struct {
	Monday   string  `json:"monday" format:"date"`
	Chairs   UseBody `json:"chairs"`
	Stylists UseBody `json:"stylists"`
}

// WeekdayUseBody is the same on one weekday.
type WeekdayUseBody struct {
	Weekday  int     `json:"weekday" doc:"1 Monday to 7 Sunday"`
	Chairs   UseBody `json:"chairs"`
	Stylists UseBody `json:"stylists"`
}

// UnitUseBody is the use of one person or station.
type UnitUseBody struct {
	UnitID string `json:"unit_id"`
	Kind   string `json:"kind"`
	Name   string `json:"name"`
	UseBody
}

// LeadTimeBody says how long before their start visits were written down.
type LeadTimeBody struct {
	Visits int     `json:"visits"`
	P10    float64 `json:"p10_hours" doc:"1 of 10 visits was written down less than so long before"`
	P25    float64 `json:"p25_hours"`
	P50    float64 `json:"p50_hours"`
	P75    float64 `json:"p75_hours"`
	P90    float64 `json:"p90_hours"`

	Bins []LeadBinBody `json:"bins" nullable:"false" doc:"By whole days of the calendar"`
}

// LeadBinBody is how many visits were written down so long before.
type LeadBinBody struct {
	UpTo   *int `json:"up_to_days,omitempty" doc:"Left out in the last: longer than the one before"`
	Visits int  `json:"visits"`
}

const salonReportNote = "Open is what the present hours would have been on those days, less closing days, breaks and absences that are still noted; " +
	"booked is what was reserved, waits in the chair included. A salon with no idle minute has no room for anybody who rings."

func (s *Server) salonReportRoutes() {
	route(s, huma.Operation{OperationID: "report-salon", Method: http.MethodGet, Path: "/reports/salon",
		Summary: "Use of chairs and hands, clients who did not come, and how far ahead visits are booked"}, s.reportSalon)
}

func (s *Server) reportSalon(ctx context.Context, in *salonReportInput) (*struct{ Body SalonReportBody }, error) {
	var out SalonReportBody
	err := s.read(ctx, func(t *store.Tx) (err error) {
		out, err = s.salonReport(ctx, t, cmp.Or(in.Months, usualReportMonths))
		return err
	})
	return &struct{ Body SalonReportBody }{out}, err
}

func (s *Server) salonReport(ctx context.Context, t *store.Tx, months int) (SalonReportBody, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return SalonReportBody{}, err
	}
	last := scheduling.CivilDate(s.now(), n.loc).Add(-1)
	first := date.NewAt(last.UTC().AddDate(0, -months, 1))
	out := SalonReportBody{Last: last.String(), TimeZone: n.row.Zone, Months: []MonthCountBody{}, Note: salonReportNote}
	past, err := s.pastUse(ctx, t, n, months, openings.DateRange{First: first, Last: last})
	if err != nil {
		return out, err
	}
	for _, m := range past.months {
		out.Months = append(out.Months, MonthCountBody(m))
	}
	out.First, out.Ahead = past.first.String(), writeLeadTime(past.ahead)
	h := past.horizon(n)
	u, err := loadUse(ctx, t, h, past.booked)
	if err != nil {
		return out, err
	}
	out.Weeks, out.Weekdays, out.Units = u.weeks(h), u.weekdays(), u.units()
	return out, nil
}

func writeLeadTime(l store.LeadTime) LeadTimeBody {
	b := LeadTimeBody{Visits: l.Visits}
	for i, n := range l.Bins {
		x := LeadBinBody{Visits: n}
		if ends := []int{0, 2, 6, 13, 27, 55, 90}; i < len(ends) {
			x.UpTo = &ends[i]
		}
		b.Bins = append(b.Bins, x)
	}
	if len(l.Hours) == 5 {
		for i, p := range []*float64{&b.P10, &b.P25, &b.P50, &b.P75, &b.P90} {
			*p = decimals(l.Hours[i], 1)
		}
	}
	return b
}

// useOf is what was booked and open of every unit by week and weekday.
type useOf struct {
	shop  openings.Shop
	names map[string]string
	cells map[useKey]*minutes
}

type useKey struct {
	unit    string
	monday  string
	weekday int
}

type minutes struct{ booked, open float64 }

func (m *minutes) add(o *minutes) { m.booked, m.open = m.booked+o.booked, m.open+o.open }

func (m *minutes) body() UseBody {
	b := UseBody{BookedMinutes: int(m.booked + 0.5), OpenMinutes: int(m.open + 0.5)}
	if m.open > 0 {
		b.Share = decimals(m.booked/m.open, 4)
	}
	return b
}

// loadUse reads what was open on the days of h beside what was booked.
func loadUse(ctx context.Context, t *store.Tx, h openings.Horizon, booked []store.UnitUse) (*useOf, error) {
	u := &useOf{cells: map[useKey]*minutes{}}
	var err error
	if u.shop, err = t.Rota(ctx, h); err != nil {
		return nil, err
	}
	if u.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	for _, b := range booked {
		u.cell(useKey{b.Unit, b.Monday, b.Weekday}).booked += b.Minutes
	}
	for i := range u.shop.Units {
		u.open(h, &u.shop.Units[i])
	}
	return u, nil
}

func (u *useOf) cell(k useKey) *minutes {
	if u.cells[k] == nil {
		u.cells[k] = &minutes{}
	}
	return u.cells[k]
}

// open adds up when a unit could be used: a person at work or a station while the
// salon is open, breaks and absences taken off.
func (u *useOf) open(h openings.Horizon, x *openings.Unit) {
	windows := x.Open
	if !isPerson(x.Kind) {
		windows = u.shop.Premises
	}
	breaks := oneAfterTheOther(x.Breaks)
	for _, w := range windows {
		day := scheduling.CivilDate(h.Time(w.From), h.Zone)
		k := useKey{x.ID, mondayOf(day).String(), isoWeekday(day)}
		u.cell(k).open += float64(w.To - w.From)
		for _, b := range breaks {
			if from, to := max(b.From, w.From), min(b.To, w.To); from < to {
				u.cell(k).open -= float64(to - from)
			}
		}
	}
}

// oneAfterTheOther is list in order, with those that meet made one.
func oneAfterTheOther(list []openings.Span) []openings.Span {
	list = slices.Clone(list)
	slices.SortFunc(list, func(a, b openings.Span) int { return int(a.From - b.From) })
	var out []openings.Span
	for _, b := range list {
		if n := len(out); n > 0 && b.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, b.To)
		} else {
			out = append(out, b)
		}
	}
	return out
}

func isPerson(k openings.UnitKind) bool { return k == openings.Stylist || k == openings.Assistant }

func isoWeekday(d date.Date) int { return (int(d.Weekday())+6)%7 + 1 }

func mondayOf(d date.Date) date.Date { return d.Add(date.PeriodOfDays(1 - isoWeekday(d))) }

// kinds adds up cells by what at makes of them, chairs and stylists apart.
func (u *useOf) kinds(at func(useKey) string) map[string]*[2]minutes {
	place := map[string]int{}
	for _, x := range u.shop.Units {
		switch x.Kind {
		case openings.Chair:
			place[x.ID] = 1
		case openings.Stylist:
			place[x.ID] = 2
		case openings.Assistant, openings.Basin:
		}
	}
	out := map[string]*[2]minutes{}
	for k, m := range u.cells {
		if place[k.unit] == 0 {
			continue
		}
		key := at(k)
		if out[key] == nil {
			out[key] = &[2]minutes{}
		}
		out[key][place[k.unit]-1].add(m)
	}
	return out
}

func (u *useOf) weeks(h openings.Horizon) []WeekUseBody {
	sums := u.kinds(func(k useKey) string { return k.monday })
	out := []WeekUseBody{}
	for d := mondayOf(h.Days.First); !d.After(h.Days.Last); d = d.Add(7) {
		b := WeekUseBody{Monday: d.String()}
		if x := sums[b.Monday]; x != nil {
			b.Chairs, b.Stylists = x[0].body(), x[1].body()
		}
		out = append(out, b)
	}
	return out
}

func (u *useOf) weekdays() []WeekdayUseBody {
	sums := u.kinds(func(k useKey) string { return string(rune('0' + k.weekday)) })
	out := []WeekdayUseBody{}
	for d := 1; d <= 7; d++ {
		if x := sums[string(rune('0'+d))]; x != nil {
			out = append(out, WeekdayUseBody{d, x[0].body(), x[1].body()})
		}
	}
	return out
}

func (u *useOf) units() []UnitUseBody {
	sums := map[string]*minutes{}
	for k, m := range u.cells {
		if sums[k.unit] == nil {
			sums[k.unit] = &minutes{}
		}
		sums[k.unit].add(m)
	}
	out := []UnitUseBody{}
	for _, x := range u.shop.Units {
		if sums[x.ID] != nil {
			out = append(out, UnitUseBody{x.ID, string(x.Kind), u.names[x.ID], sums[x.ID].body()})
		}
	}
	order := []string{string(openings.Chair), string(openings.Basin), string(openings.Stylist), string(openings.Assistant)}
	slices.SortStableFunc(out, func(a, b UnitUseBody) int { return slices.Index(order, a.Kind) - slices.Index(order, b.Kind) })
	return out
}
