package api

import (
	"cmp"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
)

// NeedRules say what a visit needs before it may begin. What is left out has
// the default of needs.DefaultRules and of the constants below.
type NeedRules struct {
	ConsultationFor       string   `json:"consultation_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services need a consultation; left out: straightening"`
	ConsultationHours     *float64 `json:"consultation_hours,omitempty" minimum:"0" maximum:"336" doc:"How long before the start it is due; left out: 24"`
	ConsultationValidDays int      `json:"consultation_valid_days,omitempty" minimum:"1" maximum:"1095" doc:"Left out: 365"`
	SkinTestFor           string   `json:"skin_test_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services need a skin test, put on patch_test_hours before the start; left out: chemical"`
	PatchTestValidDays    int      `json:"patch_test_valid_days,omitempty" minimum:"1" maximum:"1095" doc:"From the day on which it was put on; left out: 180"`
	PatchTestReadHours    *float64 `json:"patch_test_read_hours,omitempty" minimum:"0" maximum:"96" doc:"How long a skin test stays on before nothing seen means anything; left out: 24"`
	SkinTestOverride      bool     `json:"skin_test_override,omitempty" doc:"The salon's written rule that the licensed person may let a visit begin without a skin test; left out: false"`
	StrandTestFor         string   `json:"strand_test_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services need a strand test where the consultation does not say that none is needed, or where the hair is damaged; left out: straightening"`
	StrandTestForNew      bool     `json:"strand_test_for_new_clients,omitempty" doc:"From everybody who was not treated here before, whatever the consultation says"`
	StrandTestHours       *float64 `json:"strand_test_hours,omitempty" minimum:"0" maximum:"336" doc:"How long before the start it is due; left out: 24"`
	StrandTestValidDays   int      `json:"strand_test_valid_days,omitempty" minimum:"1" maximum:"1095" doc:"Left out: 90"`
	DepositFor            string   `json:"deposit_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services do not begin before the deposit that was asked is there; left out: everything"`
	GuardianFor           string   `json:"guardian_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services of a minor need the guardian's yes and the licensed person's; left out: chemical"`
	ConsentFor            string   `json:"consent_for,omitempty" enum:"nothing,straightening,chemical,everything" doc:"Which services need consent to the wording in use; left out: chemical"`
	ConsentAge            int      `json:"consent_age,omitempty" minimum:"12" maximum:"21" doc:"From which age on clients decide for themselves; local rules decide; left out: 16"`
	DepositHoldDays       int      `json:"deposit_hold_days,omitempty" minimum:"1" maximum:"30" doc:"How long a visit can be pencilled until its deposit is there; left out: 14"`
	// LapseWhenOverdue cancels by itself; the desk is asked otherwise.
	LapseWhenOverdue []string `json:"lapse_when_overdue,omitempty" nullable:"false" maxItems:"6" enum:"consultation,patch_test,strand_test,deposit,guardian,consent" doc:"What cancels a booked visit when it is not there by its latest time; the desk is asked about all others"`
}

// Judgement, for every salon to change: local rules decide about the age.
const (
	consentAge      = 16
	depositHoldDays = 14
)

// check adds the faults of b to f.
func (b *NeedRules) check(f *scheduling.Faults) {
	if b == nil {
		return
	}
	// The rules of the core are named as they are in JSON but for these.
	var own scheduling.Faults
	_ = own.Join("", b.rules(48).Validate()) // only faults
	for _, e := range own {
		if e.Field == "patch_test_for" {
			e.Field = "skin_test_for"
		}
		f.Add("needs."+e.Field, e.Problem, e.Want)
	}
	if b.ConsentAge != 0 {
		f.Count("needs.consent_age", b.ConsentAge, 12, 21)
	}
	if b.DepositHoldDays != 0 {
		f.Count("needs.deposit_hold_days", b.DepositHoldDays, 1, 30)
	}
	for i, k := range b.LapseWhenOverdue {
		if !slices.Contains(needs.Kinds(), needs.Kind(k)) {
			f.Add(index("needs.lapse_when_overdue", i), "is not known", "consultation, patch_test, strand_test, deposit, guardian or consent")
		}
	}
}

// rules are those of the core; hours is the lead time of skin tests, which is a
// setting of chair time.
func (b *NeedRules) rules(hours float64) needs.Rules {
	r := needs.DefaultRules()
	r.PatchTestHours = hours
	if b == nil {
		return r
	}
	scope := func(to *needs.Scope, s string) { *to = cmp.Or(needs.Scope(s), *to) }
	scope(&r.ConsultationFor, b.ConsultationFor)
	scope(&r.PatchTestFor, b.SkinTestFor)
	scope(&r.StrandTestFor, b.StrandTestFor)
	scope(&r.DepositFor, b.DepositFor)
	scope(&r.GuardianFor, b.GuardianFor)
	scope(&r.ConsentFor, b.ConsentFor)
	number := func(to, n *float64) {
		if n != nil {
			*to = *n
		}
	}
	number(&r.ConsultationHours, b.ConsultationHours)
	number(&r.PatchTestReadHours, b.PatchTestReadHours)
	number(&r.StrandTestHours, b.StrandTestHours)
	r.ConsultationValidDays = cmp.Or(b.ConsultationValidDays, r.ConsultationValidDays)
	r.PatchTestValidDays = cmp.Or(b.PatchTestValidDays, r.PatchTestValidDays)
	r.StrandTestValidDays = cmp.Or(b.StrandTestValidDays, r.StrandTestValidDays)
	r.PatchTestOverride, r.StrandTestForNew = b.SkinTestOverride, b.StrandTestForNew
	return r
}

// filled is b with the value of everything that is left out.
func (b *NeedRules) filled() *NeedRules {
	r := b.rules(0)
	out := &NeedRules{
		ConsultationFor: string(r.ConsultationFor), ConsultationHours: &r.ConsultationHours, ConsultationValidDays: r.ConsultationValidDays,
		SkinTestFor: string(r.PatchTestFor), PatchTestValidDays: r.PatchTestValidDays, PatchTestReadHours: &r.PatchTestReadHours,
		SkinTestOverride: r.PatchTestOverride, StrandTestFor: string(r.StrandTestFor), StrandTestForNew: r.StrandTestForNew,
		StrandTestHours: &r.StrandTestHours, StrandTestValidDays: r.StrandTestValidDays,
		DepositFor: string(r.DepositFor), GuardianFor: string(r.GuardianFor), ConsentFor: string(r.ConsentFor),
		ConsentAge: consentAge, DepositHoldDays: depositHoldDays,
	}
	if b != nil {
		out.ConsentAge = cmp.Or(b.ConsentAge, consentAge)
		out.DepositHoldDays = cmp.Or(b.DepositHoldDays, depositHoldDays)
		out.LapseWhenOverdue = b.LapseWhenOverdue
	}
	return out
}

// needRules are the salon's rules of what a visit needs.
func (n salonDay) needRules() needs.Rules { return n.rules.Needs.rules(n.time.PatchTestHours) }

// consentAge is from which age on clients of the salon decide for themselves.
func (n salonDay) consentAge() int { return n.rules.Needs.filled().ConsentAge }

func (n salonDay) depositHoldDays() int { return n.rules.Needs.filled().DepositHoldDays }

// lapses reports whether the salon cancels a visit for which k is overdue.
func (n salonDay) lapses(k needs.Kind) bool {
	return n.rules.Needs != nil && slices.Contains(n.rules.Needs.LapseWhenOverdue, string(k))
}
