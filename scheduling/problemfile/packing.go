package problemfile

import (
	"fmt"
	"io"
	"time"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
)

// Limits of a day to pack. Judgement: no salon packs more, and what is within
// them is answered within seconds. The requests and links are those that a
// packing takes.
const (
	maxPackedMinutes = 14 * 1440
	maxRequests      = 60
	maxTies          = 200
	maxPackedPhases  = 1000          // of all requests together
	maxWorth         = 1_000_000_000 // of a request; sums fit 64 bits easily
	maxCost          = 1_000_000     // of a move
)

// PackingProblem is a set of visits to pack as a file asks for it.
type PackingProblem struct {
	ID, Title string
	Zone      string    // name of the time zone, "" when not given
	Origin    time.Time // the instant of minute 0, zero when not given
	Problem   packing.Problem
}

// ReadPacking reads visits to pack, a file of task T3. A request whose "to" is
// null may start at any minute from its "from". Beside what it has to have, a
// request may say "must", where it stands today ("stay", in the form of an
// answered visit) and what moving it costs ("move", "per_minute"), and "links"
// may tie requests together.
//
// Errors are those of ReadOpenings.
func ReadPacking(r io.Reader) (*PackingProblem, error) {
	p := &PackingProblem{}
	err := read(r, taskPacking, func(top object) {
		p.ID, p.Title, p.Zone, p.Origin = about(top)
		p.Problem.Objective = objectiveFrom(top)
		s := shopFrom(top, maxPackedMinutes)
		p.Problem.Shop = s.Shop
		visits := visitsFrom(top, s)
		for it := range top.list("requests", maxRequests) {
			p.Problem.Requests = append(p.Problem.Requests, requestFrom(top.report, it, visits, s))
		}
		phases := 0
		for i := range p.Problem.Requests {
			phases += len(p.Problem.Requests[i].Visit.Phases)
		}
		if phases > maxPackedPhases {
			top.addf("requests", fmt.Sprintf("at most %d", maxPackedPhases), "have %d phases in all", phases)
		}
		p.Problem.Links = linksFrom(top, requestIDs(top, p.Problem.Requests))
		if top.sound() {
			top.join("", s.Validate())
		}
	})
	if err != nil {
		return nil, err
	}
	return p, nil
}

func objectiveFrom(top object) packing.Objective {
	o := packing.Objective(top.text("objective", true))
	switch o {
	case "", packing.MaxValue, packing.MinMakespan:
	default:
		top.addf("objective", string(packing.MaxValue+" or "+packing.MinMakespan), "is %q", short(string(o)))
	}
	return o
}

// visitsFrom reads the templates of visits by name.
func visitsFrom(top object, s shop) map[string]openings.VisitSpec {
	all, ok := top.object("visits")
	if !ok {
		return nil
	}
	out := make(map[string]openings.VisitSpec, len(all.members))
	for _, m := range all.members {
		o, ok := top.asObject(all.under(printable(m.key)), m.v, visitMembers...)
		if !ok {
			continue
		}
		before := len(top.faults)
		v := visitFrom(o, s)
		if len(top.faults) == before {
			top.join(o.at, v.Validate())
		}
		out[m.key] = v
	}
	return out
}

func requestFrom(r *report, it item, visits map[string]openings.VisitSpec, s shop) packing.Request {
	o, ok := r.asObject(it.at(), it.v, "id", "visit", "value", "from", "to", "grid", "end_by", "lead_only",
		"must", "stay", "move", "per_minute")
	if !ok {
		return packing.Request{}
	}
	q := packing.Request{ID: o.text("id", true), Name: o.text("visit", true), Value: int(o.whole("value", 0, maxWorth)),
		Query: openings.Query{From: o.whole("from", 0, s.Minutes), To: o.wholeOr("to", 0, s.Minutes, s.Minutes),
			Grid: o.whole("grid", 1, maxGrid), EndBy: o.wholeOrNil("end_by", 0, s.Minutes)},
		LeadOnly: unitIDs(o, "lead_only", s), Must: o.flag("must"),
		Move: int(o.wholeOr("move", 0, maxCost, 0)), PerMinute: int(o.wholeOr("per_minute", 0, maxCost, 0))}
	if q.Query.From > q.Query.To {
		o.addf(o.under("from"), "from <= to", "is %d with to %d", q.Query.From, q.Query.To)
	}
	v, known := visits[q.Name]
	if !known && q.Name != "" && visits != nil {
		o.addf(o.under("visit"), "the name of one of visits", "is %q", short(q.Name))
	}
	q.Visit = v
	if known && len(q.LeadOnly) > 0 && len(v.Roles) == 0 {
		o.add(o.under("lead_only"), "is given for a visit that has no role", "an empty list")
	}
	if known && o.has("stay") {
		q.Stay = stayFrom(o, v, s)
	}
	return q
}

// stayFrom reads where a visit v stands.
func stayFrom(request object, v openings.VisitSpec, s shop) *openings.Schedule {
	o, ok := request.object("stay", "roles", "phases")
	if !ok {
		return nil
	}
	sch := &openings.Schedule{Roles: map[string]string{}}
	if roles, ok := o.object("roles"); ok {
		for _, r := range v.Roles {
			sch.Roles[r.Name] = unitID(roles, r.Name, s)
		}
	}
	for it := range o.list("phases", maxPhases) {
		ph, ok := o.asObject(it.at(), it.v, "phase", "start", "end", "pool")
		if !ok {
			continue
		}
		p := openings.Placed{Phase: ph.text("phase", false), Start: ph.whole("start", 0, s.Minutes),
			End: ph.whole("end", 0, s.Minutes), Pool: unitIDs(ph, "pool", s)}
		if p.Start >= p.End {
			ph.addf(it.at(), "start before end", "is %d to %d", p.Start, p.End)
		}
		if it.i < len(v.Phases) && len(p.Pool) != len(v.Phases[it.i].Pool) {
			ph.addf(ph.under("pool"), fmt.Sprintf("%d, as the visit has", len(v.Phases[it.i].Pool)), "has %d entries", len(p.Pool))
		}
		sch.Phases = append(sch.Phases, p)
	}
	if o.sound() && len(sch.Phases) != len(v.Phases) {
		o.addf(o.under("phases"), fmt.Sprintf("%d, as the visit has", len(v.Phases)), "has %d entries", len(sch.Phases))
	}
	return sch
}

// requestIDs returns the ids of requests, which have to differ.
func requestIDs(top object, requests []packing.Request) map[string]bool {
	known := map[string]bool{}
	for i := range requests {
		if id := requests[i].ID; known[id] && id != "" {
			top.addf(fmt.Sprintf("requests[%d].id", i), "a different id for every request", "is %q again", short(id))
		}
		known[requests[i].ID] = true
	}
	return known
}

// linksFrom reads the ties between the requests whose ids are known.
func linksFrom(top object, known map[string]bool) []packing.Link {
	const oneRequest = "the id of one of requests"
	var out []packing.Link
	for it := range top.list("links", maxTies) {
		o, ok := top.asObject(it.at(), it.v, "a", "b", "from", "min", "max", "other_lead")
		if !ok {
			continue
		}
		l := packing.Link{A: o.oneOf("a", known, oneRequest), B: o.oneOf("b", known, oneRequest),
			From: o.text("from", true), Min: o.whole("min", -openings.MaxHorizon, openings.MaxHorizon),
			Max: o.whole("max", -openings.MaxHorizon, openings.MaxHorizon), OtherLead: o.flag("other_lead")}
		if l.A == l.B && l.A != "" {
			o.addf(o.under("b"), "another request than a", "is %q again", short(l.B))
		}
		if l.From != "start" && l.From != "end" && l.From != "" {
			o.addf(o.under("from"), "start or end", "is %q", short(l.From))
		}
		if l.Min > l.Max {
			o.addf(it.at(), "min <= max", "has min %d and max %d", l.Min, l.Max)
		}
		out = append(out, l)
	}
	return out
}
