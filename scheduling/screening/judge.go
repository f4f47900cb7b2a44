package screening

import (
	"github.com/rickb777/date"
)

// Reason is one answer that counts.
type Reason struct {
	Question   string
	Code       string
	Level      Level // Clear for a note
	Words      string
	Source     string
	StrandTest bool
	Lift       bool // a DoNotBook that the licensed person may lift once a strand test was held
	Rebook     bool
	// Earliest is the first day for a service with chemicals, nil when the reason
	// sets none.
	Earliest *date.Date
}

// Outcome is what follows from the answers of one form. It approves nothing.
type Outcome struct {
	Level   Level
	Reasons []Reason // in the order of the questions
	// StrandTest reports whether a test on a few strands is needed first.
	StrandTest bool
	// AfterStrandTest reports whether Level is DoNotBook for nothing but reasons
	// that the licensed person may lift once a strand test was held.
	AfterStrandTest bool
	Rebook          bool // book again later, kindly
	// Earliest is the first day for a service with chemicals that all reasons
	// allow, nil when any day does.
	Earliest *date.Date
}

// First is what goes before every outcome.
const First = "The product maker's directions, local rules and the licensed person come first. Nothing is approved by this form."

// Words says the outcome for the stylist.
func (o Outcome) Words() string {
	switch {
	case o.Level == Clear:
		return "Nothing in these answers speaks against booking. " + First
	case o.Level == Ask:
		return "The licensed person has to agree before a service with chemicals. " + First
	case o.Rebook:
		return "Not today. Say it kindly and out of others' hearing, and offer another day; nobody is at fault. " + First
	case o.AfterStrandTest:
		return "Not to be booked until a strand test was held and the licensed person agrees. " + First
	}
	return "Not to be booked for a service with chemicals. " + First
}

// Judge says what follows from answers given on a day. Not sure counts as yes.
// It returns the faults of Check for answers that do not fit the form.
func Judge(f Form, list []Answer, on date.Date) (Outcome, error) {
	if err := f.Check(list, on); err != nil {
		return Outcome{}, err
	}
	given := map[string]string{}
	for _, a := range list {
		given[a.Question] = a.Text
	}
	o := Outcome{Level: Clear}
	for _, q := range f.Questions {
		answer, ok := given[q.ID]
		if !ok {
			continue
		}
		for _, r := range q.Rules {
			if !r.holds(q.Kind, answer) {
				continue
			}
			if x := r.reason(q, answer, on); q.Kind != Date || x.Earliest != nil { // a date that is long past is no reason
				o.add(x)
			}
		}
	}
	return o, nil
}

func (r Rule) reason(q Question, answer string, on date.Date) Reason {
	x := Reason{Question: q.ID, Code: r.Code, Level: r.Level, Words: r.Words, Source: r.Source, StrandTest: r.StrandTest, Lift: r.Lift, Rebook: r.Rebook}
	if r.Days == 0 {
		return x
	}
	from := on // the latest that somebody who is not sure can mean
	if q.Kind == Date && answer != NotSure {
		from = date.MustParseISO(answer)
	}
	if first := from.Add(date.PeriodOfDays(r.Days)); first.After(on) {
		x.Earliest = &first
	}
	return x
}

// add counts one more reason.
func (o *Outcome) add(r Reason) {
	lift := o.Level != DoNotBook || o.AfterStrandTest // nothing final so far
	o.Reasons = append(o.Reasons, r)
	if r.Level.rank() > o.Level.rank() {
		o.Level = r.Level
	}
	o.StrandTest = o.StrandTest || r.StrandTest
	o.Rebook = o.Rebook || r.Rebook
	o.AfterStrandTest = o.Level == DoNotBook && lift && (r.Level != DoNotBook || r.Lift)
	if r.Earliest != nil && (o.Earliest == nil || r.Earliest.After(*o.Earliest)) {
		o.Earliest = r.Earliest
	}
}
