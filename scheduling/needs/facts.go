package needs

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
)

// Service is what a service of the visit is, as far as needs go.
type Service struct {
	Chemical  bool
	Aftercare bool // straightening
	Retouch   bool
	// Damaged is set when the hair was booked or seen as damaged.
	Damaged  bool
	Families []string
	// Products are those that are to be put on and that tests have to be made
	// with. Without any, the test of whatever product counts.
	Products []Product
}

// Product is a product in one strength. ID is its id in the salon's list, "" when
// all that is known is what somebody typed.
type Product struct{ ID, Name, Strength string }

func (s Service) in(scope Scope) bool {
	switch scope {
	case ForNothing:
		return false
	case ForStraightener:
		return s.Aftercare
	case ForChemical:
		return s.Chemical || s.Aftercare
	case ForEverything:
	}
	return true
}

// AskPatchTest reports whether the rules ask for a skin test for a visit with
// services.
func (r Rules) AskPatchTest(services ...Service) bool {
	return slices.ContainsFunc(services, func(s Service) bool { return s.in(r.PatchTestFor) })
}

// AskTreated reports whether what a visit with services needs depends on whether
// the client was treated with chemicals before.
func (r Rules) AskTreated(services []Service) bool {
	return slices.ContainsFunc(services, func(s Service) bool {
		return s.in(r.ConsultationFor) || r.StrandTestForNew && s.in(r.StrandTestFor)
	})
}

// Visit is what is on record of a visit.
type Visit struct {
	Start    time.Time
	Services []Service
	// ApprovedBy is the licensed person who agreed when it was booked or later.
	ApprovedBy  string
	DepositOpen bool       // one was asked for and is neither there nor waived
	DepositBy   *time.Time // nil: by the start
	// GuardianYes is when the guardian agreed to this visit, nil as long as
	// nobody noted it or when it was taken back.
	GuardianYes *time.Time
	Overrides   []Override
	// Corrects is the end of the visit that this one corrects, the zero time when
	// it corrects none. A correction needs a strand test made since then.
	Corrects time.Time
}

// Override is the licensed person's word that a visit may begin without
// something. It counts as long as the need stands as it did then.
type Override struct {
	Kind Kind
	By   string
	At   time.Time
	// Basis is that of the need when it was said.
	Basis string
}

// Client is what is on record of the client. The zero value is somebody of whom
// nothing is known.
type Client struct {
	Treated       bool // with chemicals, here, before this visit
	Minor         bool // on the day of the visit
	GuardianNamed bool
	Consultation  *Consulted
	PatchTests    []Patch
	StrandTests   []Strand
	Reactions     []time.Time // to a product, here or elsewhere
	// Consent is when the client agreed to the wording in use, nil when not.
	Consent *time.Time
	// Unreadable is set when tests and reactions are on record that nobody can
	// read now. They count as tests that are missing and that nobody may override.
	Unreadable bool
}

// Outcome is what a consultation came to, the licensed person's word counted
// in.
type Outcome string

// Outcomes.
const (
	Clear     Outcome = "clear"
	Ask       Outcome = "ask"         // the licensed person has not decided yet
	DoNotBook Outcome = "do_not_book" // and what is not known
)

// Consulted is the latest consultation.
type Consulted struct {
	Made       time.Time
	Outcome    Outcome
	StrandTest bool       // a strand test is needed first
	Earliest   *date.Date // first day for a service with chemicals
}

// allows reports whether the visit may be held after it, perhaps with the
// licensed person's yes. What is not known does not.
func (c *Consulted) allows() bool { return c.Outcome == Clear || c.Outcome == Ask }

// Result is what a test came to.
type Result string

// Results of skin tests. An unclear one counts as positive until somebody has
// read the test again.
const (
	Unread   Result = ""
	Negative Result = "negative"
	Positive Result = "positive"
	Unclear  Result = "unclear"
)

// Results of strand tests.
const (
	Fine      Result = "fine"
	Stretched Result = "stretched_too_far"
	Snapped   Result = "snapped"
)

// Patch is a skin test.
type Patch struct {
	Family string // of the services it was made for, "" for any
	Product
	PutOn  time.Time
	Result Result // of the reading that counts
	Read   time.Time
}

// Strand is a test on a strand of hair.
type Strand struct {
	Product
	Made   time.Time
	Result Result
}

// same compares names that people type.
func same(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// use is a product put on in a service of a family; without a name it is
// whatever product, without a family it is for whatever service.
type use struct {
	Product
	family string
}

// is reports whether something was made with the product of u.
func (u use) is(p Product) bool {
	if u.ID != "" && p.ID != "" {
		return u.ID == p.ID
	}
	return u.Name == "" || same(u.Name, p.Name) && same(u.Strength, p.Strength)
}

// mayBe reports whether a test may have been made with the product of u, as far
// as anybody can tell: a name that is not in the salon's list may be a slip of the
// pen, or an old name, for any product of its family.
func (u use) mayBe(t Patch) bool {
	switch {
	case u.Name == "":
	case u.ID != "" && u.ID == t.ID:
		return true
	case same(u.Name, t.Name):
		return u.Strength == "" || t.Strength == "" || same(u.Strength, t.Strength)
	case u.ID != "" && t.ID != "":
		return false
	}
	return !apart(u.family, t.Family)
}

// apart reports whether two families are different ones. One that nobody knows may
// be any.
func apart(a, b string) bool {
	known := []string{scheduling.FamilyStraightening, scheduling.FamilyColour, scheduling.FamilyBleach, scheduling.FamilyPerm}
	return a != b && slices.Contains(known, a) && slices.Contains(known, b)
}

// words names it for people.
func (u use) words() string {
	if name := strings.TrimSpace(u.Name + " " + u.Strength); name != "" {
		return name
	}
	return cmp.Or(u.family, "what is used")
}
