package problemfile

import (
	"fmt"
	"io"
	"time"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// OpeningsProblem is a search for openings as a file asks for it.
type OpeningsProblem struct {
	ID, Title string
	Zone      string    // name of the time zone, "" when not given
	Origin    time.Time // the instant of minute 0, zero when not given
	Shop      openings.Shop
	Visit     openings.VisitSpec
	Query     openings.Query
}

// What a problem file must say about itself.
const (
	problemSchema = "openings/1"
	problemTask   = "T1"
)

// Limits of a problem file. The longest that was met, sixty busy days, has 165
// kilobytes.
const (
	maxProblemBytes = 16 << 20
	maxFaults       = 20
)

// ReadOpenings reads a search problem, a JSON object of schema openings/1 and
// task T1. Lists that are null or absent are empty. The answer that a file may
// carry is not looked at, nor are members that the schema does not know, unless
// they look like a misspelling of one that it does.
//
// The changeover of a unit is also the clearing after each of its bookings.
//
// A faulty file gives *InvalidError or Faults, at most 20, whose fields name the
// place, such as units[3].bookings[2]; any other error comes from r.
func ReadOpenings(r io.Reader) (*OpeningsProblem, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxProblemBytes+1))
	if err != nil {
		return nil, fmt.Errorf("scheduling: read problem: %w", err)
	}
	if len(data) > maxProblemBytes {
		return nil, &scheduling.InvalidError{Problem: "the file is too long", Want: fmt.Sprintf("at most %d bytes", maxProblemBytes)}
	}
	tree, err := parseJSON(data)
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	p := problemFrom(&f, tree)
	if more := len(f) - maxFaults; more > 0 {
		f = f[:maxFaults]
		f.Addf("", "", "and %d more faults", more)
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	return p, nil
}

func problemFrom(f *scheduling.Faults, tree any) *OpeningsProblem {
	top, ok := asObject(f, "", tree)
	if !ok {
		return nil
	}
	// First of all, so that a file of another kind is not picked to pieces.
	schema, task := top.text("schema", true), top.text("task", true)
	if len(*f) > 0 {
		return nil
	}
	if schema != problemSchema {
		f.Addf("schema", problemSchema, "is %q", short(schema))
	}
	if task != problemTask {
		f.Addf("task", problemTask+", a search for openings", "is %q", short(task))
	}
	if len(*f) > 0 {
		return nil
	}
	asObject(f, "", tree, "schema", "id", "task", "title", "tests", "zone", "origin",
		"minutes", "premises", "units", "visit", "query", "civil", "expect")
	p := &OpeningsProblem{ID: top.text("id", false), Title: top.text("title", false), Zone: top.text("zone", false)}
	if at := top.text("origin", false); at != "" {
		var err error
		if p.Origin, err = time.Parse(time.RFC3339, at); err != nil {
			f.Addf("origin", "an instant with offset such as 2026-05-12T00:00:00+02:00", "is %q", short(at))
		}
	}
	minutes := top.whole("minutes", 1, openings.MaxHorizon)
	p.Shop = openings.Shop{Minutes: minutes, Premises: top.spans("premises", minutes)}
	for _, it := range top.list("units") {
		p.Shop.Units = append(p.Shop.Units, unitFrom(f, it, minutes))
	}
	p.Visit = visitFrom(f, top)
	p.Query = queryFrom(top, minutes)
	if len(*f) > 0 {
		return nil
	}
	p.validate(f)
	return p
}

// validate adds the faults that are not of the form but of the meaning.
func (p *OpeningsProblem) validate(f *scheduling.Faults) {
	_ = f.Join("", p.Shop.Validate())
	_ = f.Join("visit", p.Visit.Validate())
	_ = f.Join("query", p.Query.Validate())
}

func unitFrom(f *scheduling.Faults, it item, minutes openings.Minute) openings.Unit {
	o, ok := asObject(f, it.at(), it.v, "id", "kind", "skills", "open", "breaks", "bookings", "changeover")
	if !ok {
		return openings.Unit{}
	}
	u := openings.Unit{ID: o.text("id", true), Kind: openings.UnitKind(o.text("kind", true)), Skills: o.texts("skills"),
		Open: o.spans("open", minutes), Breaks: o.spans("breaks", minutes)}
	if o.has("changeover") {
		u.Changeover = o.whole("changeover", 0, openings.MaxClearing)
	}
	for _, s := range o.spans("bookings", minutes) {
		u.Bookings = append(u.Bookings, openings.Booking{From: s.From, To: s.To, Clear: u.Changeover})
	}
	return u
}

func visitFrom(f *scheduling.Faults, top object) openings.VisitSpec {
	var v openings.VisitSpec
	o, ok := top.object("visit", "roles", "phases", "gaps")
	if !ok {
		return v
	}
	for _, it := range o.list("roles") {
		if r, ok := asObject(f, it.at(), it.v, "role", "kinds", "skills", "only"); ok {
			v.Roles = append(v.Roles, openings.Role{Name: r.text("role", true), Need: needFrom(r)})
		}
	}
	for _, it := range o.list("phases") {
		ph, ok := asObject(f, it.at(), it.v, "name", "minutes", "roles", "pool")
		if !ok {
			continue
		}
		phase := openings.Phase{Name: ph.text("name", false), Minutes: ph.whole("minutes", 1, openings.MaxHorizon), Roles: ph.texts("roles")}
		for _, it := range ph.list("pool") {
			if n, ok := asObject(f, it.at(), it.v, "kinds", "skills", "only"); ok {
				phase.Pool = append(phase.Pool, needFrom(n))
			}
		}
		v.Phases = append(v.Phases, phase)
	}
	for _, it := range o.list("gaps") {
		if g, ok := asObject(f, it.at(), it.v, "min", "max", "hold"); ok {
			v.Gaps = append(v.Gaps, openings.Gap{Min: g.whole("min", 0, openings.MaxHorizon), Max: g.whole("max", 0, openings.MaxHorizon),
				Hold: g.texts("hold")})
		}
	}
	return v
}

func needFrom(o object) openings.Need {
	n := openings.Need{Skills: o.texts("skills"), Only: o.texts("only")}
	for _, k := range o.texts("kinds") {
		n.Kinds = append(n.Kinds, openings.UnitKind(k))
	}
	return n
}

func queryFrom(top object, minutes openings.Minute) openings.Query {
	o, ok := top.object("query", "from", "to", "grid", "end_by")
	if !ok {
		return openings.Query{}
	}
	q := openings.Query{From: o.whole("from", 0, minutes), To: o.whole("to", 0, minutes), Grid: o.whole("grid", 1, 1440)}
	if o.has("end_by") {
		end := o.whole("end_by", 0, minutes)
		q.EndBy = &end
	}
	return q
}
