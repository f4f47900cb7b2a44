package scheduling

import (
	"fmt"
	"regexp"
	"slices"
)

// StepKind names a step of a service. The kinds below are those that have a
// formula of the head; a salon's own fixed steps may use other names.
type StepKind string

// Steps of a straightening service, in their order.
const (
	Talk    StepKind = "talk"
	Wash    StepKind = "wash"
	Prep    StepKind = "prep"
	Apply   StepKind = "apply"
	Process StepKind = "process"
	Rinse1  StepKind = "rinse_1"
	Dry1    StepKind = "dry_1"
	Iron    StepKind = "iron"
	Neutral StepKind = "neutral"
	Dwell   StepKind = "dwell"
	Rinse2  StepKind = "rinse_2"
	Dry2    StepKind = "dry_2"
	Finish  StepKind = "finish"
	Close   StepKind = "close"
)

// Solution in two stages, in the place of Apply and Process: roots and
// mid-lengths first, the ends and what was left out later, each followed by a
// wait and a check of a wet test strand.
const (
	Apply1   StepKind = "apply_1"
	Process1 StepKind = "process_1"
	Check1   StepKind = "check_1"
	Apply2   StepKind = "apply_2"
	Process2 StepKind = "process_2"
	Check2   StepKind = "check_2"
)

// RinseShort is the quick rinse between two batches of a long head.
const RinseShort StepKind = "rinse_short"

// Who says whose hands or eyes a step needs.
type Who string

// Who may do a step.
const (
	ByLead      Who = "lead"              // the stylist in charge
	ByAssistant Who = "assistant_or_lead" // an assistant where there is one, else a stylist
	ByNobody    Who = "nobody"            // the hair works alone, nobody need look
)

// Where says which station a step needs beside the chair, which the client
// keeps for the whole visit.
type Where string

// Where a step takes place.
const (
	AtChair Where = "chair"
	AtBasin Where = "basin"
	// AtDesk leaves the chair to be cleared when nothing follows in it.
	AtDesk Where = "desk"
)

// FormulaHead marks a step whose minutes come from the estimate of a head.
const FormulaHead = "head"

// Step is one step of a service.
type Step struct {
	Kind  StepKind
	Label string // plain words for screens
	Who   Who
	Where Where
	// Minutes is the fixed length, at least 1; ignored when Formula is set.
	Minutes int
	// Formula is "" for fixed minutes or FormulaHead.
	Formula string
	// HandsOn is false while the person in charge only watches or is not needed.
	HandsOn bool
	// Watched is true when the person in charge must stay and look although
	// hands are off; no other client's work may stand inside.
	Watched bool
	// WaitMin and WaitMax bound the wait after the step, in minutes.
	WaitMin, WaitMax int
	// Helper is true when a second pair of hands shares the step: one more
	// stylist with the service's skill when the step is the lead's, one more
	// assistant otherwise.
	Helper bool
	// MayOverrun is true when the step may last longer than it was booked for;
	// false where product would go on working. See Step.UsuallyOverruns.
	MayOverrun bool
	// Held is what is kept for the client during the wait after the step, as
	// well as the chair that the client sits in. Empty means the chair alone.
	Held []Held
	// WatchFor are short lines for whoever does the step, at most MaxWatchFor of
	// MaxWatchForLength characters. They may hold placeholders, see Fill.
	WatchFor []string
}

// Held is something that a visit keeps while the client waits between two steps.
type Held string

// What may be held.
const (
	HeldChair Held = "chair"
	HeldBasin Held = "basin" // the one of the step before the wait
	HeldLead  Held = "lead"  // the stylist in charge
	// HeldNothing frees the chair, too: only the desk follows.
	HeldNothing Held = "nothing"
)

// MaxStepMinutes is the longest step of fixed length, in minutes (judgement: a working day).
const MaxStepMinutes = 600

// Limits of the lines to watch for (judgement: what is read at a glance).
const (
	MaxWatchFor       = 6
	MaxWatchForLength = 120 // characters
)

// UsuallyOverruns is what MayOverrun is when nobody has said: a step may last
// longer when hands are on it, but not while neutralizer goes on or a test
// strand is looked at, because product is working on all other hair.
func (st Step) UsuallyOverruns() bool {
	return st.HandsOn && !slices.Contains(timedByProduct, st.Kind)
}

// timedByProduct are the kinds that are never made longer, because product is
// working on the hair and the maker's directions say for how long.
var timedByProduct = []StepKind{Process, Process1, Check1, Process2, Check2, Neutral, Dwell}

// Service is one version of a named, ordered list of steps. A booked visit
// keeps the version it was booked with.
type Service struct {
	ID      string
	Version int
	Name    string
	// Skill is the skill that the stylist in charge must have.
	Skill string
	// Chemical is true when the chair needs the longer clearing afterwards.
	Chemical bool
	// Clear is the chair's clearing after the service in minutes; nil means the
	// chair's own changeover.
	Clear *int
	// Aftercare is true when the client must keep the hair dry and untied for
	// 48 hours afterwards and is called back when the regrowth is due.
	Aftercare bool
	// Retouch is true when only new growth is treated.
	Retouch bool
	// Families say what the service is to the others, see SpacingRule. Wet is
	// added by itself to a service with a step at the basin.
	Families []string
	// PriceCents is the price in hundredths of the salon's currency.
	PriceCents int64
	Steps      []Step
}

// formulaKinds are the kinds that an estimate gives minutes for, in its order.
var formulaKinds = slices.Concat([]StepKind{Talk, Wash, Prep, Apply, Process}, twoStages,
	[]StepKind{Rinse1, Dry1, Iron, Neutral, Dwell, Rinse2, Dry2, Finish, Close})

var stepName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,40}$`)

// Valid reports whether k is small letters, digits and _, as the kind of a step
// has to be.
func (k StepKind) Valid() bool { return stepName.MatchString(string(k)) }

// Validate returns Faults with every step that contradicts itself: a wait
// whose least is above its longest, a formula for a kind that has none, no
// length, hands on with nobody there, or a watched stretch with hands on; steps
// that contradict each other or the rest of the service; steps that no day can
// hold; and when no step needs the stylist in charge, who would then not have to
// be there.
func (s Service) Validate() error {
	var f Faults
	checkFamilies(&f, "families", s.Families)
	s.checkStages(&f)
	s.checkFormulas(&f)
	s.checkLength(&f)
	if !slices.ContainsFunc(s.Steps, func(st Step) bool { return st.Who == ByLead }) {
		f.Add("steps", "has none for the stylist in charge", "at least one step whose who is lead")
	}
	for i, st := range s.Steps {
		at := fmt.Sprintf("steps[%d]", i)
		if !st.Kind.Valid() {
			f.Addf(at+".kind", "small letters, digits and _", "is %q", st.Kind)
		}
		switch {
		case st.Formula == FormulaHead && !slices.Contains(formulaKinds, st.Kind):
			f.Addf(at+".kind", "a kind that an estimate gives minutes for", "is %q, for which there is no formula", st.Kind)
		case st.Formula == FormulaHead && st.Minutes != 0:
			f.Add(at+".minutes", "is given beside a formula", "one of the two")
		case st.Formula == "" && (st.Minutes < 1 || st.Minutes > MaxStepMinutes):
			f.Addf(at+".minutes", fmt.Sprintf("1 to %d", MaxStepMinutes), "is %d", st.Minutes)
		}
		if st.WaitMin > st.WaitMax {
			f.Addf(at+".wait_min_minutes", fmt.Sprintf("at most wait_max_minutes, which is %d", st.WaitMax), "is %d", st.WaitMin)
		}
		if st.Who == ByNobody && (st.HandsOn || st.Watched || st.Helper) {
			f.Add(at+".who", "is nobody although hands or eyes are needed", "lead or assistant_or_lead")
		}
		if st.HandsOn && st.Watched {
			f.Add(at+".watched", "is set beside hands_on", "one of the two")
		}
		if st.MayOverrun && slices.Contains(timedByProduct, st.Kind) {
			f.Addf(at+".may_overrun", "false", "is true although product works while it says %q", st.Kind.Words())
		}
		s.checkHeld(&f, i)
		checkWatchFor(&f, at, st)
	}
	return f.Err()
}
