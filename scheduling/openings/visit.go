package openings

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
)

// waitBetweenServices is how long a client may sit in the chair between two
// services of one visit, in minutes (judgement).
const waitBetweenServices = 10

// VisitService is one service of a visit, worked out for its client.
type VisitService struct {
	Service scheduling.Service
	Steps   []scheduling.TimedStep
	// LeadID names the stylist in charge; empty means any, or the one who
	// leads the neighbouring services of the visit.
	LeadID string
	// Hands is 2 when a second pair of hands shares the steps marked Helper.
	Hands int
	// WatcherID names a second qualified stylist who watches in the steps that
	// are Watched, instead of the one in charge, who is free meanwhile and
	// somebody else; empty means that the stylist in charge watches.
	WatcherID string
	// Expect is what each of Steps is expected to take, in their order; empty
	// for a service of which only the length is known.
	Expect []Effort
}

// Names of the roles that a unit can have in a step.
const (
	RoleLead      = "lead"
	RoleChair     = "chair"
	RoleBasin     = "basin"
	RoleAssistant = "assistant"
	RoleHelper    = "helper"
	RoleWatcher   = "watcher"
)

// VisitPlan is a visit ready to be placed: its specification and what each
// phase is.
type VisitPlan struct {
	Spec  VisitSpec
	Steps []PlanStep // one per phase; a phase behind them is that of LeadClears
	leads []string   // role name by service
	held  [][]string // role names by wait
}

// PlanStep says what a phase of a VisitPlan is.
type PlanStep struct {
	scheduling.TimedStep
	Service int      // index into the visit's services
	Lead    string   // name of the lead role of that service
	Led     bool     // the stylist in charge is there
	Expect  Effort   // the zero value when only the length is known
	Pool    []string // role of each pool entry
	Seated  bool     // the client keeps the chair
	// BasinRole is the role of the basin where the visit keeps it through a wait;
	// otherwise the basin is in the pool.
	BasinRole string
}

// ComposeVisit turns the services of one visit, for one client in one chair,
// into a plan. The client keeps the chair for the whole visit, at the basin
// too, except for steps at the end that take place at the desk; in a wait it
// keeps as well what the step before says (scheduling.Step.Held). Services for which no stylist is named are led by the stylist of the
// service before them, or else by the one of the first service that names one.
//
// It returns Faults when there is no service.
func ComposeVisit(services []VisitService) (*VisitPlan, error) {
	if len(services) == 0 {
		return nil, scheduling.Faults{{Field: "services", Problem: "is empty", Want: "at least one service"}}
	}
	p := &VisitPlan{}
	p.bindLeads(services)
	p.Spec.Roles = append(p.Spec.Roles, Role{Name: RoleChair, Need: Need{Kinds: []UnitKind{Chair}}})
	seated, basins := seatedSteps(services), keepsBasin(services)
	if slices.Contains(basins, true) {
		p.Spec.Roles = append(p.Spec.Roles, Role{Name: roleHeldBasin, Need: Need{Kinds: []UnitKind{Basin}}})
	}
	for i, s := range services {
		for j, st := range s.Steps {
			p.addStep(i, j, s, len(p.Steps) < seated, basins[len(p.Steps)])
			last := j == len(s.Steps)-1
			if last && i == len(services)-1 {
				break
			}
			g := Gap{Min: Minute(st.WaitMin), Max: Minute(st.WaitMax)}
			if last {
				g.Max = max(g.Max, waitBetweenServices)
			}
			g.Hold = p.hold(len(p.Steps) < seated)
			p.held = append(p.held, g.Hold)
			p.Spec.Gaps = append(p.Spec.Gaps, g)
		}
	}
	p.Spec.Clear, p.Spec.ClearLeast = clearingAsked(services)
	return p, nil
}

// clearingAsked is what the services ask to be kept free on the chair afterwards:
// exactly the most when each of them asks, at least that when some leave it to
// the chair.
func clearingAsked(services []VisitService) (exactly, least map[UnitKind]Minute) {
	most, asked := 0, 0
	for _, s := range services {
		if c := s.Service.Clear; c != nil {
			most = max(most, *c)
			asked++
		}
	}
	switch asked {
	case 0:
		return nil, nil
	case len(services):
		return map[UnitKind]Minute{Chair: Minute(most)}, nil
	}
	return nil, map[UnitKind]Minute{Chair: Minute(most)}
}

// seatedSteps counts the steps for which the client keeps the chair: all but
// those at the end that take place at the desk.
func seatedSteps(services []VisitService) int {
	n, seated := 0, 0
	for _, s := range services {
		for _, st := range s.Steps {
			n++
			if st.Where != scheduling.AtDesk {
				seated = n
			}
		}
	}
	return seated
}

// bindLeads makes one lead role per stylist and gathers the skills it needs.
func (p *VisitPlan) bindLeads(services []VisitService) {
	current := ""
	for _, s := range services {
		if s.LeadID != "" {
			current = s.LeadID
			break
		}
	}
	byID := map[string]int{}
	for _, s := range services {
		if s.LeadID != "" {
			current = s.LeadID
		}
		i, ok := byID[current]
		if !ok {
			i = len(p.Spec.Roles)
			byID[current] = i
			r := Role{Name: RoleLead, Need: Need{Kinds: []UnitKind{Stylist}}}
			if i > 0 {
				r.Name = fmt.Sprintf("%s_%d", RoleLead, i+1)
			}
			if current != "" {
				r.Only = []string{current}
			}
			p.Spec.Roles = append(p.Spec.Roles, r)
		}
		r := &p.Spec.Roles[i]
		if k := s.Service.Skill; k != "" && !slices.Contains(r.Skills, k) {
			r.Skills = append(r.Skills, k)
		}
		if w := s.WatcherID; w != "" && !slices.Contains(r.Except, w) {
			r.Except = append(r.Except, w)
		}
		p.leads = append(p.leads, r.Name)
	}
}

func (p *VisitPlan) addStep(i, j int, s VisitService, seated, keepsBasin bool) {
	st := s.Steps[j]
	ph := Phase{Name: string(st.Kind), Minutes: Minute(st.Length)}
	if seated {
		ph.Roles = []string{RoleChair}
	}
	step := PlanStep{TimedStep: st, Service: i, Lead: p.leads[i], Seated: seated}
	pool := func(role string, n Need) {
		ph.Pool = append(ph.Pool, n)
		step.Pool = append(step.Pool, role)
	}
	either := Need{Kinds: []UnitKind{Assistant, Stylist}}
	switch {
	case keepsBasin:
		step.BasinRole = roleHeldBasin
		ph.Roles = append(ph.Roles, step.BasinRole)
	case st.Where == scheduling.AtBasin:
		pool(RoleBasin, Need{Kinds: []UnitKind{Basin}})
	}
	if j < len(s.Expect) {
		step.Expect = s.Expect[j]
	}
	switch st.Who {
	case scheduling.ByLead:
		if st.Watched && s.WatcherID != "" {
			pool(RoleWatcher, Need{Kinds: []UnitKind{Stylist}, Skills: skills(s.Service.Skill), Only: []string{s.WatcherID}})
			break
		}
		step.Led = true
		ph.Roles = append(ph.Roles, step.Lead)
	case scheduling.ByAssistant:
		pool(RoleAssistant, either)
	case scheduling.ByNobody:
	}
	if st.Helper && s.Hands > 1 {
		if st.Who == scheduling.ByLead {
			pool(RoleHelper, Need{Kinds: []UnitKind{Stylist}, Skills: skills(s.Service.Skill)})
		} else {
			pool(RoleHelper, either)
		}
	}
	p.Spec.Phases = append(p.Spec.Phases, ph)
	p.Steps = append(p.Steps, step)
}

func skills(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

// LeadOf returns the unit that leads service i in sch.
func (p *VisitPlan) LeadOf(sch Schedule, i int) string { return sch.Roles[p.leads[i]] }

// LeadClears makes the stylist in charge of the last service spend minutes after
// the visit on clearing the chair, and 0 lets her go at once. The client is gone
// by then: End is the same with and without. It is a phase of its own, so that
// it is kept free to the minute, by the search as by Check; it lies within her
// hours and those of the premises, as all work does.
func (p *VisitPlan) LeadClears(minutes Minute) {
	n := len(p.Steps)
	p.Spec.Phases, p.Spec.Gaps = p.Spec.Phases[:n:n], p.Spec.Gaps[:max(n-1, 0):max(n-1, 0)]
	if minutes > 0 {
		p.Spec.Phases = append(p.Spec.Phases, Phase{Name: PhaseClear, Minutes: minutes, Roles: []string{p.leads[len(p.leads)-1]}})
		p.Spec.Gaps = append(p.Spec.Gaps, Gap{})
	}
}

// Cleared is a schedule of the steps alone with the phase of LeadClears behind
// it, or without where there is none.
func (p *VisitPlan) Cleared(sch Schedule) Schedule {
	n := len(p.Steps)
	sch.Phases = sch.Phases[:n:n]
	if c := p.Clears(); c > 0 {
		end := p.End(sch)
		sch.Phases = append(sch.Phases, Placed{Phase: PhaseClear, Start: end, End: end + c})
	}
	return sch
}

// Clears is the minutes of LeadClears.
func (p *VisitPlan) Clears() Minute {
	if n := len(p.Steps); n < len(p.Spec.Phases) {
		return p.Spec.Phases[n].Minutes
	}
	return 0
}

// PhaseClear is the name of the phase in which the stylist clears the chair.
const PhaseClear = "clear"

// End is when the client leaves.
func (p *VisitPlan) End(sch Schedule) Minute { return sch.Phases[len(p.Steps)-1].End }

// Use is a unit at work in a step.
type Use struct{ Unit, Role string }

// Uses lists the units of phase i of sch, the chair included where the client
// still sits in it. In the phase of LeadClears it is the stylist alone.
func (p *VisitPlan) Uses(sch Schedule, i int) []Use {
	var out []Use
	if i == len(p.Steps) {
		return []Use{{sch.Roles[p.leads[len(p.leads)-1]], RoleLead}}
	}
	st := p.Steps[i]
	if st.Seated {
		out = append(out, Use{sch.Roles[RoleChair], RoleChair})
	}
	if st.Led {
		out = append(out, Use{sch.Roles[st.Lead], RoleLead})
	}
	if st.BasinRole != "" {
		out = append(out, Use{sch.Roles[st.BasinRole], RoleBasin})
	}
	for k, u := range sch.Phases[i].Pool {
		out = append(out, Use{u, st.Pool[k]})
	}
	return out
}

// Reservation is an interval of one unit that a schedule uses.
type Reservation struct {
	Unit string
	Span
}

// Reservations lists what sch uses, neighbouring steps of a unit joined,
// sorted by unit and start, what is held in waits included.
func (p *VisitPlan) Reservations(sch Schedule) []Reservation {
	var out []Reservation
	at := map[string]int{}
	use := func(unit string, s Span) {
		if s.From >= s.To {
			return
		}
		if k, ok := at[unit]; ok && out[k].To == s.From {
			out[k].To = s.To
			return
		}
		at[unit] = len(out)
		out = append(out, Reservation{unit, s})
	}
	for i, ph := range sch.Phases {
		for _, u := range p.Uses(sch, i) {
			use(u.Unit, Span{ph.Start, ph.End})
		}
		for _, role := range p.heldAfter(i) {
			use(sch.Roles[role], Span{ph.End, sch.Phases[i+1].Start})
		}
	}
	slices.SortFunc(out, func(a, b Reservation) int {
		if a.Unit != b.Unit {
			if a.Unit < b.Unit {
				return -1
			}
			return 1
		}
		return int(a.From - b.From)
	})
	return out
}

// PartKind says what a stretch of a visit means to one person's calendar.
type PartKind string

// Kinds of parts of a person's calendar.
const (
	PartHandsOn PartKind = "hands_on" // hands are needed
	PartWatched PartKind = "watched"  // hands are free, eyes are not
	PartAway    PartKind = "away"     // the client is with somebody else or the hair works alone
)

// Part is a run of neighbouring steps that mean the same to one person, with
// no wait between them but those in which the person is held. While the person
// is away the same others are at work in all of it.
type Part struct {
	Unit string
	Kind PartKind
	Span
	Steps []int // indices of the phases; empty for a wait on its own
}

// Parts lists what each person's calendar shows of sch, by person in the
// order of their first step, then by time.
func (p *VisitPlan) Parts(sch Schedule) []Part {
	var order []string
	runs := map[string][]Part{}
	with := make([]string, len(p.Steps)) // who works meanwhile
	add := func(unit string, kind PartKind, i int) {
		ph := sch.Phases[i]
		list := runs[unit]
		if list == nil {
			order = append(order, unit)
		}
		if n := len(list); n > 0 && list[n-1].Kind == kind && list[n-1].To == ph.Start &&
			(kind != PartAway || with[list[n-1].Steps[0]] == with[i]) {
			list[n-1].To = ph.End
			list[n-1].Steps = append(list[n-1].Steps, i)
			return
		}
		runs[unit] = append(list, Part{Unit: unit, Kind: kind, Span: Span{ph.Start, ph.End}, Steps: []int{i}})
	}
	for i, st := range p.Steps {
		lead := sch.Roles[st.Lead]
		seen := false
		for _, u := range p.Uses(sch, i) {
			if u.Role == RoleChair || u.Role == RoleBasin {
				continue
			}
			seen = seen || u.Unit == lead
			with[i] += u.Unit + " "
			if u.Role == RoleWatcher {
				with[i] += "watching "
			}
			add(u.Unit, p.partKind(i, u), i)
		}
		if !seen {
			add(lead, PartAway, i)
		}
		runs[lead] = p.staying(sch, i, runs[lead])
	}
	var out []Part
	for _, u := range order {
		out = append(out, runs[u]...)
	}
	return out
}
