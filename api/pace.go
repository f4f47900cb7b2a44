package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/pace"
	"chairblock/store"
)

// paceMonths is how far back records are read (judgement): what is older has faded to a
// sixteenth at the usual half-life of 180 days (derived).
const paceMonths = 24

// Whose pace the minutes of a service follow.
const (
	paceOfLead  = "lead"
	paceOfSalon = "salon"
)

// timeFor is the salon's constants of chair time, with the figures of the makers
// of what x takes in their place, and with the pace of lead laid over them, or that
// of the salon where lead is "" or learning is switched off for her. Steps of x
// that an assistant may do go at the salon's.
func (n salonDay) timeFor(ctx context.Context, t *store.Tx, lead string, x scheduling.Service) (chairtime.Settings, error) {
	said, err := makersOf(ctx, t, x)
	if err != nil {
		return n.own, err
	}
	own := n.own.By(said.settings())
	set, err := paceSettings(n.row)
	if err != nil || !set.learns() {
		return own, err
	}
	if set.person(lead).Off {
		lead = ""
	}
	rows, err := t.Paces(ctx, lead)
	if err != nil {
		return own, err
	}
	assisted := map[scheduling.StepKind]bool{}
	for _, st := range x.Steps {
		if st.Who != scheduling.ByLead {
			assisted[chairtime.PaceKind(st.Kind)] = true
		}
	}
	return own.At(pace.Of(rows, lead, func(k scheduling.StepKind) bool { return assisted[k] })), nil
}

// paced is n with the chair time at which a service is worked out.
func (n salonDay) paced(ctx context.Context, t *store.Tx, lead string, x scheduling.Service) (salonDay, error) {
	var err error
	n.time, err = n.timeFor(ctx, t, lead, x)
	return n, err
}

// pacedBy notes a request for the pace of nobody, and returns whose it is.
func pacedBy(f *scheduling.Faults, at string, r ServiceRequest) string {
	switch {
	case r.Pace == paceOfSalon:
		return ""
	case r.Pace == paceOfLead && r.LeadID == "":
		f.Add(at+".pace", "is lead, but no lead_id is given", paceOfSalon+", or lead_id beside it")
	}
	return r.LeadID
}

// PaceLineBody says that an estimate follows records in one kind of step.
type PaceLineBody struct {
	Kind    string  `json:"kind" example:"iron"`
	Factor  float64 `json:"factor" doc:"What the sheet's mean was multiplied by" example:"1.12"`
	Visits  int     `json:"visits" doc:"Visits behind it"`
	StaffID string  `json:"staff_id,omitempty" doc:"Whose visits; left out: the salon's"`
	Text    string  `json:"text" doc:"For people" example:"Ada's last 14 visits: ironing 12 % slower than the sheet"`
}

// paceLines says where the steps of an estimate, worked out by so many pairs of
// hands, differ from the sheet by more than 2 %.
func (n salonDay) paceLines(ctx context.Context, t *store.Tx, e EstimateBody, hands int) ([]PaceLineBody, error) {
	kinds := make([]scheduling.StepKind, len(e.Steps))
	for i, s := range e.Steps {
		kinds[i] = scheduling.StepKind(s.Kind)
	}
	return n.paceLinesOf(ctx, t, kinds, hands)
}

func (n salonDay) paceLinesOf(ctx context.Context, t *store.Tx, kinds []scheduling.StepKind, hands int) ([]PaceLineBody, error) {
	var out []PaceLineBody
	name := ""
	for _, kind := range kinds {
		p, ok := n.time.PaceOf(kind, hands)
		kept := string(chairtime.PaceKind(kind))
		if !ok || !pace.Said(p.Factor) || slices.ContainsFunc(out, func(b PaceLineBody) bool { return b.Kind == kept }) {
			continue
		}
		whose := "the salon's"
		if p.Staff != "" {
			if name == "" {
				row, err := t.StaffByID(ctx, p.Staff)
				if err != nil {
					return nil, err
				}
				name = row.Name
			}
			whose = name + "'s"
		}
		out = append(out, PaceLineBody{kept, decimals(p.Factor, 4), p.Visits, p.Staff, pace.Line(whose, p.Visits, kind, p.Factor)})
	}
	return out, nil
}

// addressed are the lines in the words for whoever reads them.
func addressed(ctx context.Context, lines []PaceLineBody) []PaceLineBody {
	me := principal(ctx).StaffID
	if me == "" {
		return lines
	}
	lines = slices.Clone(lines)
	for i := range lines {
		if l := &lines[i]; l.StaffID == me {
			l.Text = pace.Line("your", l.Visits, scheduling.StepKind(l.Kind), l.Factor)
		}
	}
	return lines
}

// Refit works out anew how quickly the people of a salon work. It is a
// store.Refit.
func (s *Server) Refit(ctx context.Context, salon string) error {
	return s.store.InTx(ctx, salon, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		return s.refit(ctx, t, n)
	})
}

func (s *Server) refit(ctx context.Context, t *store.Tx, n salonDay) error {
	if err := t.LockPaces(ctx); err != nil {
		return err
	}
	fit, _, _, err := s.fitRecords(ctx, t, n, paceMonths)
	if err != nil {
		return err
	}
	return t.ReplacePaces(ctx, fit)
}

// fitRecords works out the visits of so many months up to now, and returns what was
// promised of them and what their steps say, too.
func (s *Server) fitRecords(ctx context.Context, t *store.Tx, n salonDay, months int) (pace.Fit, []pace.Promise, []pace.Observation, error) {
	set, err := paceSettings(n.row)
	if err != nil {
		return pace.Fit{}, nil, nil, err
	}
	now := s.now()
	visits, err := s.visitsOver(ctx, t, n, now.AddDate(0, -months, 0), now.AddDate(0, 0, 1))
	if err != nil {
		return pace.Fit{}, nil, nil, err
	}
	steps := 0
	for _, v := range visits {
		steps += len(v.steps)
	}
	promises, list := make([]pace.Promise, 0, len(visits)), make([]pace.Observation, 0, steps)
	for _, v := range visits {
		list = append(list, v.steps...)
		if v.promise != nil {
			promises = append(promises, *v.promise)
		}
	}
	fitter, err := set.fitter(n.loc)
	if err != nil {
		return pace.Fit{}, nil, nil, err
	}
	fit, err := fitter.Fit(list, now)
	if err != nil {
		return fit, nil, nil, fmt.Errorf("api: pace: %w", err)
	}
	return fit, promises, list, nil
}

// paceVisit is a record for the core.
func (n salonDay) paceVisit(r *store.PaceRecord) pace.Visit {
	v := &r.Visit
	f := factsOf(*v)
	out := pace.Visit{ID: v.ID, At: v.Start, Arrived: f.arrived, Out: recordOut(r), Steps: make([]pace.Step, len(v.Steps))}
	seen := map[expectedKind]int{}
	for i, st := range v.Steps {
		out.Steps[i] = n.paceStep(r, st, seen)
		out.Steps[i].Start, out.Steps[i].End = f.starts[i], f.ends[i]
		if i+1 < len(v.Steps) {
			out.Steps[i].Wait = max(v.Steps[i+1].Start.Sub(st.End).Minutes(), 0)
		}
	}
	for _, m := range f.marks() { // the end of the visit is that of its last step
		if m.end {
			out.Steps[m.step].End = &m.at
		}
	}
	return out
}

// expectedKind counts the steps of one kind of one service.
type expectedKind struct {
	service int
	kind    string
}

// paceStep is one planned step with what its estimate expected.
func (n salonDay) paceStep(r *store.PaceRecord, st store.VisitStep, seen map[expectedKind]int) pace.Step {
	kind := scheduling.StepKind(st.Kind)
	out := pace.Step{Staff: st.UnitIn(openings.RoleAssistant), With: st.UnitIn(openings.RoleHelper)}
	if out.Staff == "" {
		out.Staff = st.UnitIn(openings.RoleLead)
	}
	x, ok := r.Expected[st.Service]
	at := expectedKind{st.Service, st.Kind}
	k := seen[at]
	seen[at]++
	follows := slices.Contains(x.Formula, st.Kind) || kind == scheduling.RinseShort && slices.Contains(x.Formula, string(scheduling.Rinse1))
	mean := 0.0
	for i := range x.Kinds { // the k-th step of that kind
		if x.Kinds[i] == st.Kind {
			if k == 0 {
				mean = x.Means[i]
				if p := x.Paces[i]; p > 0 {
					mean /= p
				}
				break
			}
			k--
		}
	}
	if !ok || !follows || mean <= 0 || out.Staff == "" && chairtime.PaceKind(kind) != "" {
		out.StepTime = chairtime.StepTime{Kind: kind, Mean: st.End.Sub(st.Start).Minutes()}
		out.Other = true
		return out
	}
	out.StepTime = n.time.Expect(kind, mean)
	if chairtime.Shareable(kind) && (x.Hands > 1) != (out.With != "") {
		out.Out = pace.OtherHands
	}
	if !chairtime.Shareable(kind) {
		out.With = ""
	}
	return out
}

// recordOut says why a whole visit does not count.
func recordOut(r *store.PaceRecord) pace.Reason {
	switch {
	case r.Visit.State == store.StoppedEarly:
		return pace.StoppedEarly
	case r.Visit.ParentAs != nil && *r.Visit.ParentAs == store.Correction:
		return pace.Correction
	case r.Interrupted:
		return pace.Interrupted
	case r.Goodwill:
		return pace.Goodwill
	}
	return ""
}

// PaceSettingsBody is what a salon has set for learning from records.
type PaceSettingsBody struct {
	Off        bool               `json:"off,omitempty" doc:"Estimates keep the sheet's own times; nothing is learned"`
	CountsFrom string             `json:"counts_from,omitempty" format:"date" doc:"Records before that day do not count; left out: all of the last 24 months"`
	Staff      []PaceOfStaffBody  `json:"staff,omitempty" nullable:"false" maxItems:"200" doc:"People for whom something else holds"`
	Constants  map[string]float64 `json:"constants,omitempty" doc:"Constants of learning that differ from the default; GET /pace-settings lists them with their ranges"`
	List       []SettingBody      `json:"list,omitempty" nullable:"false" readOnly:"true" required:"false" doc:"All constants; ignored when sent"`
}

// PaceOfStaffBody is what holds for one person.
type PaceOfStaffBody struct {
	StaffID    string `json:"staff_id" maxLength:"64"`
	Off        bool   `json:"off,omitempty" doc:"Nothing is learned of this person, and estimates keep the salon's pace"`
	CountsFrom string `json:"counts_from,omitempty" format:"date" doc:"This person's records before that day do not count"`
}

func (b *PaceSettingsBody) learns() bool { return !b.Off }

func (b *PaceSettingsBody) person(id string) PaceOfStaffBody {
	for _, p := range b.Staff {
		if p.StaffID == id {
			return p
		}
	}
	return PaceOfStaffBody{}
}

// paceSettings reads what a salon's row says.
func paceSettings(n store.Salon) (PaceSettingsBody, error) {
	var b PaceSettingsBody
	if len(n.Pace) == 0 {
		return b, nil
	}
	if err := json.Unmarshal(n.Pace, &b); err != nil {
		return b, fmt.Errorf("api: pace settings of salon: %w", err)
	}
	return b, nil
}

// constants lays the salon's own constants over the defaults.
func (b *PaceSettingsBody) constants(f *scheduling.Faults) (pace.Settings, error) {
	c := pace.Default()
	for name, v := range b.Constants {
		if err := f.Join("constants", c.Set(name, v)); err != nil {
			return c, err
		}
	}
	return c, f.Join("constants", c.Validate())
}

// fitter is the core's settings; dates begin at midnight of the salon.
func (b *PaceSettingsBody) fitter(loc *time.Location) (pace.Fitter, error) {
	var f scheduling.Faults
	c, err := b.constants(&f)
	if err != nil {
		return pace.Fitter{}, err
	}
	x := pace.Fitter{Settings: c, FromOf: map[string]time.Time{}, Off: map[string]bool{}}
	from := func(field, s string) time.Time {
		if s == "" {
			return time.Time{}
		}
		at, _ := scheduling.DayBounds(loc, day(&f, field, s))
		return at
	}
	x.From = from("counts_from", b.CountsFrom)
	for i, p := range b.Staff {
		x.Off[p.StaffID] = p.Off
		x.FromOf[p.StaffID] = from(index("staff", i)+".counts_from", p.CountsFrom)
	}
	return x, f.Err()
}
