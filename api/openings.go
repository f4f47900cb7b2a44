package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// OpeningsRequest asks when a visit fits.
type OpeningsRequest struct {
	Services  []ServiceRequest `json:"services" nullable:"false" minItems:"1" maxItems:"8"`
	ClientID  string           `json:"client_id,omitempty" maxLength:"64" doc:"Leaves out times at which this client has another visit"`
	FirstDate string           `json:"first_date,omitempty" format:"date" doc:"First day to look at; left out: today"`
	LastDate  string           `json:"last_date,omitempty" format:"date" doc:"Last day, at most 62 days after the first; left out: 27 days after it"`
	NotBefore *time.Time       `json:"not_before,omitempty" doc:"Earliest start"`
	EndBy     string           `json:"end_by,omitempty" doc:"The visit must end by this time of each day" example:"17:30"`
	Grid      int              `json:"grid_minutes,omitempty" minimum:"1" maximum:"240" doc:"Starts on multiples of this many minutes after midnight; left out: 15"`
	Limit     int              `json:"limit,omitempty" minimum:"1" maximum:"200" doc:"How many openings at most; left out: 20"`
}

// OpeningBody is a start at which the whole visit fits.
type OpeningBody struct {
	Start        time.Time  `json:"start"`
	End          time.Time  `json:"end"`
	LeadID       string     `json:"lead_id"`
	LeadName     string     `json:"lead_name"`
	ChairID      string     `json:"chair_id"`
	ChairName    string     `json:"chair_name"`
	WaitMinutes  int        `json:"wait_minutes" doc:"How long the client waits between steps, all together"`
	KeepDryUntil *time.Time `json:"keep_dry_until,omitempty" doc:"Hair must stay dry and untied until then"`
	Words        string     `json:"words" doc:"The opening in a sentence"`
}

// OpeningsAnswer lists openings in the order of their start.
type OpeningsAnswer struct {
	Count    int           `json:"count" doc:"How many starts there are in the whole period"`
	Minutes  int           `json:"booked_minutes" doc:"Minutes of all steps; waits come on top"`
	Openings []OpeningBody `json:"openings" nullable:"false"`
	Next     *time.Time    `json:"next_not_before,omitempty" doc:"Send it as not_before for the openings that follow"`
	Missing  []string      `json:"missing,omitempty" doc:"Why there can be none: who or what the salon lacks"`
	Cautions []CautionBody `json:"cautions" nullable:"false"`
}

type openingsInput struct{ Body OpeningsRequest }
type openingsOutput struct{ Body OpeningsAnswer }

func (s *Server) openingRoutes() {
	route(s, huma.Operation{OperationID: "find-openings", Method: http.MethodPost, Path: "/openings",
		Summary: "When does the whole visit fit around everything already promised?"}, s.findOpenings)
}

func (s *Server) findOpenings(ctx context.Context, in *openingsInput) (*openingsOutput, error) {
	var out openingsOutput
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		var f scheduling.Faults
		c, err := compose(ctx, t, n, in.Body.Services)
		if err := f.Join("", err); err != nil {
			return err
		}
		_, err = s.period(n, in.Body)
		if err := f.Join("", err); err != nil {
			return err
		}
		if id := in.Body.ClientID; id != "" {
			if err := knownClient(ctx, t, &f, id); err != nil {
				return err
			}
		}
		if err := f.Err(); err != nil {
			return err
		}
		out.Body, err = s.openings(ctx, t, n, c, in.Body, "")
		return err
	})
	return &out, err
}

// period is what a request wants of the time of a visit.
type period struct {
	first, last date.Date
	endBy       int // minutes after midnight, -1 for any
	grid, limit int
}

// period reads the days, the end, the grid and the limit of a request.
func (s *Server) period(n salonDay, b OpeningsRequest) (period, error) {
	var f scheduling.Faults
	p := period{first: scheduling.CivilDate(s.now(), n.loc), endBy: -1, grid: cmp.Or(b.Grid, 15), limit: cmp.Or(b.Limit, 20)}
	if b.FirstDate != "" {
		p.first = day(&f, "first_date", b.FirstDate)
	}
	p.last = p.first.Add(27)
	if b.LastDate != "" {
		p.last = day(&f, "last_date", b.LastDate)
	}
	if len(f) == 0 && (p.last.Before(p.first) || p.last.Sub(p.first) > 62) {
		f.Add("last_date", "does not lie within 62 days from first_date", "first_date or a later day")
	}
	if b.EndBy != "" {
		p.endBy = clockOf(&f, "end_by", b.EndBy)
	}
	return p, f.Err()
}

// openings searches the whole period at once, then describes the first starts.
func (s *Server) openings(ctx context.Context, t *store.Tx, n salonDay, c *composed, b OpeningsRequest, except string) (OpeningsAnswer, error) {
	out := OpeningsAnswer{Openings: []OpeningBody{}, Cautions: c.cautions(), Minutes: c.minutes()}
	p, err := s.period(n, b)
	if err != nil {
		return out, err
	}
	h := around(n.loc, p.first, p.last)
	shop, err := t.LoadShop(ctx, h, s.now(), except)
	if err != nil {
		return out, err
	}
	snap, err := openings.NewSnapshot(shop)
	if err != nil {
		return out, fmt.Errorf("api: openings: %w", err)
	}
	plan, err := openings.Compile(c.plan.Spec, snap)
	if err != nil {
		return out, fmt.Errorf("api: openings: %w", err)
	}
	if out.Missing = plan.Missing(); len(out.Missing) > 0 {
		return out, nil
	}
	d := describer{n: n, h: h, c: c, names: map[string]string{}}
	if err := d.load(ctx, t, b.ClientID, except); err != nil {
		return out, err
	}
	q := s.bounds(h, p.first, p.last, b.NotBefore)
	if q.From > q.To {
		return out, nil
	}
	set, err := plan.Search(snap, q)
	if err != nil {
		return out, fmt.Errorf("api: openings: %w", err)
	}
	return out, d.list(&out, set, p)
}

// list counts the starts of set that p allows and describes the first ones.
func (d *describer) list(out *OpeningsAnswer, set *openings.StartSet, p period) error {
	for m := range set.All() {
		at := d.h.Time(m)
		end, _ := set.MinEnd(m)
		if (at.Hour()*60+at.Minute())%p.grid != 0 || d.busy(at, d.h.Time(end)) {
			continue
		}
		if p.endBy >= 0 && end > d.h.Minute(wall(d.n.loc, scheduling.CivilDate(at, d.n.loc), p.endBy)) {
			continue
		}
		out.Count++
		if len(out.Openings) < p.limit {
			sch, ok := set.Assign(m, "")
			if !ok {
				return fmt.Errorf("api: openings: no schedule at %s", at)
			}
			out.Openings = append(out.Openings, d.opening(sch))
		} else if out.Next == nil {
			out.Next = &at
		}
	}
	return nil
}

// bounds limits the starts to the days asked for, from now on.
func (s *Server) bounds(h openings.Horizon, first, last date.Date, notBefore *time.Time) openings.Query {
	from, _ := scheduling.DayBounds(h.Zone, first)
	_, to := scheduling.DayBounds(h.Zone, last)
	q := openings.Query{From: max(0, h.Minute(from)), To: min(h.Length, h.Minute(to)) - 1, Grid: 1}
	later := func(t time.Time) {
		// Up to the next whole minute.
		q.From = max(q.From, h.Minute(t.Add(time.Minute-1)))
	}
	later(s.now())
	if notBefore != nil {
		later(*notBefore)
	}
	return q
}

func (c *composed) cautions() []CautionBody {
	out := []CautionBody{}
	for _, w := range c.estimates {
		if w != nil {
			out = append(out, w.result.Cautions...)
		}
	}
	return out
}

// describer puts an opening into words.
type describer struct {
	n     salonDay
	h     openings.Horizon
	c     *composed
	names map[string]string
	other []store.Visit // visits that the client has besides
}

// busy reports whether the client has another visit then.
func (d *describer) busy(from, to time.Time) bool {
	return slices.ContainsFunc(d.other, func(v store.Visit) bool { return v.State.Open() && from.Before(v.End) && v.Start.Before(to) })
}

func (d *describer) load(ctx context.Context, t *store.Tx, client, except string) error {
	if client != "" {
		var err error
		if d.other, err = t.VisitsOfClient(ctx, client); err != nil {
			return err
		}
		d.other = slices.DeleteFunc(d.other, func(v store.Visit) bool { return v.ID == except })
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return err
	}
	stations, err := t.Stations(ctx)
	if err != nil {
		return err
	}
	for _, p := range staff {
		d.names[p.ID] = p.Name
	}
	for _, u := range stations {
		d.names[u.ID] = u.Name
	}
	return nil
}

func (d *describer) opening(sch openings.Schedule) OpeningBody {
	last := sch.Phases[len(sch.Phases)-1]
	o := OpeningBody{
		Start:  d.h.Time(sch.Phases[0].Start),
		End:    d.h.Time(last.End),
		LeadID: d.c.plan.LeadOf(sch, 0), ChairID: sch.Roles[openings.RoleChair],
		WaitMinutes: int(last.End - sch.Phases[0].Start),
	}
	for _, ph := range sch.Phases {
		o.WaitMinutes -= int(ph.End - ph.Start)
	}
	o.LeadName, o.ChairName = d.names[o.LeadID], d.names[o.ChairID]
	o.Words = fmt.Sprintf("%s to %s with %s, %s", o.Start.Format("Mon 2 January 15:04"), o.End.Format("15:04"), o.LeadName, o.ChairName)
	if d.c.aftercare {
		dry := keepDryUntil(o.End)
		o.KeepDryUntil = &dry
		o.Words += "; " + scheduling.DefaultAftercare().Words(o.End) + ": does that suit?"
	}
	return o
}
