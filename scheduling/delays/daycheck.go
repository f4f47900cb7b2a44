package delays

import (
	"fmt"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/openings"
)

// maxVisits bounds a day. Judgement: ten times a large salon.
const maxVisits = 300

// check returns the units of the shop by id, and Faults that name the faulty
// fields of d.
func (d *Day) check() (map[string]int, error) {
	var f scheduling.Faults
	if err := f.Join("shop", d.Shop.Validate()); err != nil {
		return nil, err
	}
	if d.Now < 0 || d.Now > d.Shop.Minutes {
		f.Addf("now", fmt.Sprintf("a minute of the day, 0 to %d", d.Shop.Minutes), "is %d", d.Now)
	}
	if len(d.Visits) > maxVisits {
		f.Addf("visits", fmt.Sprintf("at most %d", maxVisits), "has %d entries", len(d.Visits))
		return nil, f.Err()
	}
	units := make(map[string]int, len(d.Shop.Units))
	for i := range d.Shop.Units {
		units[d.Shop.Units[i].ID] = i
	}
	ids := map[string]bool{}
	for i := range d.Visits {
		v, own := &d.Visits[i], scheduling.Faults{}
		if ids[v.ID] || v.ID == "" {
			own.Addf("id", "a different id for every visit", "is %q", v.ID)
		}
		ids[v.ID] = true
		if err := v.check(&own, d, units); err != nil {
			return nil, err
		}
		if err := f.Join(fmt.Sprintf("visits[%d]", i), own.Err()); err != nil {
			return nil, err
		}
	}
	return units, f.Err()
}

func (v *Visit) check(f *scheduling.Faults, d *Day, units map[string]int) error {
	if err := v.Spec.Validate(); err != nil {
		return f.Join("spec", err)
	}
	n := len(v.Spec.Phases)
	sized := func(field string, have int) {
		if have != 0 && have != n {
			f.Addf(field, fmt.Sprintf("none or %d, one for each phase", n), "has %d entries", have)
		}
	}
	sized("care", len(v.Care))
	sized("labels", len(v.Labels))
	sized("happened", len(v.Happened))
	if len(v.Booked.Phases) != n {
		f.Addf("booked.phases", fmt.Sprintf("%d, as the visit has", n), "has %d entries", len(v.Booked.Phases))
		return nil
	}
	v.checkBooked(f, d, units)
	inside := func(field string, m *openings.Minute) {
		if m != nil && (*m < 0 || *m > d.Shop.Minutes) {
			f.Addf(field, fmt.Sprintf("a minute of the day, 0 to %d", d.Shop.Minutes), "is %d", *m)
		}
	}
	inside("not_before", v.NotBefore)
	inside("arrived", v.Arrived)
	if len(v.Happened) == n {
		v.checkHappened(f, d)
	}
	for i, h := range v.Helps {
		at := fmt.Sprintf("helps[%d]", i)
		if h.Phase < 0 || h.Phase >= n {
			f.Addf(at+".phase", fmt.Sprintf("0 to %d", n-1), "is %d", h.Phase)
		}
		if slices.ContainsFunc(v.Helps[:i], func(o Help) bool { return o.Phase == h.Phase }) {
			f.Addf(at+".phase", "one help for each phase", "is %d again", h.Phase)
		}
		if _, ok := units[h.Unit]; !ok {
			f.Addf(at+".unit", "a unit of the shop", "is %q", h.Unit)
		}
		if h.Minutes < 1 || h.Minutes > openings.MaxHorizon {
			f.Addf(at+".minutes", fmt.Sprintf("1 to %d", openings.MaxHorizon), "is %d", h.Minutes)
		}
		inside(at+".from", &h.From)
	}
	return nil
}

// checkBooked looks at the units and times of the plan.
func (v *Visit) checkBooked(f *scheduling.Faults, d *Day, units map[string]int) {
	unit := func(field func() string, id string) {
		if _, ok := units[id]; !ok {
			f.Addf(field(), "a unit of the shop", "is %q", id)
		}
	}
	for _, r := range v.Spec.Roles {
		unit(func() string { return fmt.Sprintf("booked.roles[%s]", r.Name) }, v.Booked.Roles[r.Name])
	}
	for i, ph := range v.Booked.Phases {
		at, want := func() string { return fmt.Sprintf("booked.phases[%d]", i) }, v.Spec.Phases[i]
		if ph.Start < 0 || ph.End > d.Shop.Minutes || ph.End-ph.Start != want.Minutes {
			f.Addf(at(), fmt.Sprintf("%d minutes between 0 and %d", want.Minutes, d.Shop.Minutes), "is %d to %d", ph.Start, ph.End)
		}
		if i > 0 && ph.Start < v.Booked.Phases[i-1].End {
			f.Addf(at(), "a start after the phase before it", "begins at %d", ph.Start)
		}
		if len(ph.Pool) != len(want.Pool) {
			f.Addf(at()+".pool", fmt.Sprintf("%d, as the phase has", len(want.Pool)), "has %d entries", len(ph.Pool))
		}
		for k, id := range ph.Pool {
			unit(func() string { return fmt.Sprintf("%s.pool[%d]", at(), k) }, id)
		}
	}
}

// checkHappened asks for real times that can be: not in the future, and in the
// order of the phases.
func (v *Visit) checkHappened(f *scheduling.Faults, d *Day) {
	var last openings.Minute
	for i, h := range v.Happened {
		at := func() string { return fmt.Sprintf("happened[%d]", i) }
		if h.Start == nil {
			if h.End != nil {
				f.Add(at()+".end", "is given without a start", "both or none")
			}
			continue
		}
		if *h.Start < last || *h.Start > d.Now {
			f.Addf(at()+".start", fmt.Sprintf("not before the phases before it, and not after now: %d to %d", last, d.Now), "is %d", *h.Start)
		}
		if h.Until != nil && (*h.Until < 0 || *h.Until > d.Shop.Minutes) {
			f.Addf(at()+".until", fmt.Sprintf("a minute of the day, 0 to %d", d.Shop.Minutes), "is %d", *h.Until)
		}
		last = *h.Start
		if h.End == nil {
			continue
		}
		if *h.End < *h.Start || *h.End > d.Now {
			f.Addf(at()+".end", fmt.Sprintf("%d to %d, from its start to now", *h.Start, d.Now), "is %d", *h.End)
		}
		last = max(last, *h.End)
	}
}
