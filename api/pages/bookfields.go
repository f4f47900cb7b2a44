package pages

import (
	"net/url"
	"strconv"
	"strings"
)

// Names of the fields that the booking form posts. Hair fields have the names
// that the JSON interface uses.
const (
	FieldWho       = "who"        // what a client is looked for by
	FieldSought    = "sought"     // what one was looked for by last
	FieldClient    = "client"     // id of a known client, "" for a new one
	FieldFirstName = "first_name" // of a new client
	FieldInitial   = "initial"    // of the family name
	FieldPhone     = "phone"
	FieldMail      = "mail"
	FieldPreferred = "preferred" // "call", "text", "mail" or "none"
	FieldService   = "service"   // id of a service
	FieldStylist   = "stylist"   // id of the stylist wished for, "" for anybody
	FieldDateFrom  = "date_from" // YYYY-MM-DD
	FieldNote      = "note"      // for the desk
	// FieldMore is how many services can be chosen, FieldMany how many times are
	// shown.
	FieldMore = "services"
	FieldMany = "many"

	FieldLength    = "length_cm"
	FieldFree      = "free_length" // "true" or absent: the length is as the hair hangs
	FieldDensity   = "density"     // "low", "medium", "high"
	FieldStrand    = "strand"      // "fine", "medium", "coarse"
	FieldPorosity  = "porosity"    // "low", "normal", "high"
	FieldCurl      = "curl"        // "straight", "wavy", "curly", "coily"
	FieldDamaged   = "damaged"     // "true" or absent
	FieldNewClient = "new_client"
	FieldRegrowth  = "regrowth_cm"
	FieldSections  = "sections"
	FieldPlate     = "plate_depth_cm"
	FieldHands     = "hands"
	FieldBatches   = "batches"
	// FieldCut is what was cut since the hair of a known client was last seen.
	FieldCut = "cut_cm"

	// In place of those above where the salon measures in inches.
	FieldLengthIn   = "length_in"
	FieldRegrowthIn = "regrowth_in"
	FieldPlateIn    = "plate_depth_in"
	FieldCutIn      = "cut_in"

	// Three questions for the telephone, asked instead of the hair fields; only
	// when BookPage.PhoneQuestions is set.
	FieldReach    = "reach"    // "ear", "chin", "shoulder", "mid_back", "waist", "longer"
	FieldPonytail = "ponytail" // "little", "average", "a_lot"
	FieldHistory  = "history"  // several of historyOptions

	// FieldConsultation is the chosen time of the consultation before a long visit.
	FieldConsultation = "consultation"

	// FieldApprovedBy is who said yes to the cautions that ask for it.
	FieldApprovedBy = "approved_by"

	// FieldDo says which button was pressed; see ParseAction.
	FieldDo = "do"
	// FieldHeld and FieldHeldVersion name the pencilled visit that the page is about.
	FieldHeld        = "held"
	FieldHeldVersion = "held_version"
	// FieldWith is the id of the visit that the booked one is to belong to, FieldHow how:
	// "arrive_together", "side_by_side" or "one_after_other". FieldTogether is the same
	// of somebody who is booked afterwards, "" for nobody.
	FieldWith     = "with"
	FieldHow      = "how"
	FieldTogether = "together"
	// FieldQuote is the id of the quote whose price is kept.
	FieldQuote = "quote"
)

// MostServices is how many services the form can ask for in one visit (judgement: half of
// what the interface takes).
const MostServices = 4

// ServiceField is the name of the field of service i, counted from 0.
func ServiceField(i int) string {
	if i == 0 {
		return FieldService
	}
	return FieldService + "_" + strconv.Itoa(i+1)
}

// KeyField is the name of the hidden field that holds the idempotency key of
// the opening with this id.
func KeyField(openingID string) string { return "key_" + openingID }

// QuoteKey is the name of the hidden field that holds the idempotency key of the
// button that makes a quote.
const QuoteKey = "key_quote"

// BookFields are the values of the form exactly as they were typed, so that
// nothing is lost from one step to the next. The zero value is an empty form.
type BookFields struct {
	Who, Sought                                        string
	Client, FirstName, Initial, Phone, Mail, Preferred string
	Service, Stylist, DateFrom, Note                   string
	// Others are the services after the first, "" for one that is not chosen yet.
	Others []string
	Many   string

	// Length, Regrowth, Plate and Cut are in the salon's unit.
	Length, Density, Strand, Porosity, Curl        string
	Free, Damaged, NewClient                       bool
	Regrowth, Sections, Plate, Hands, Batches, Cut string

	Reach, Ponytail string
	History         []string
	Consultation    string

	ApprovedBy string

	With, How, Together string
}

// ReadBookFields takes the form's values as they were typed.
func ReadBookFields(v url.Values) BookFields {
	return BookFields{
		Who: v.Get(FieldWho), Sought: v.Get(FieldSought), Note: v.Get(FieldNote), Others: readOthers(v), Many: v.Get(FieldMany), Consultation: v.Get(FieldConsultation),
		Client: v.Get(FieldClient), FirstName: v.Get(FieldFirstName), Initial: v.Get(FieldInitial),
		Phone: v.Get(FieldPhone), Mail: v.Get(FieldMail), Preferred: v.Get(FieldPreferred),
		Service: v.Get(FieldService), Stylist: v.Get(FieldStylist), DateFrom: v.Get(FieldDateFrom),
		Length: either(v, FieldLength, FieldLengthIn), Free: v.Get(FieldFree) == "true", Cut: either(v, FieldCut, FieldCutIn), Density: v.Get(FieldDensity), Strand: v.Get(FieldStrand),
		Porosity: v.Get(FieldPorosity), Curl: v.Get(FieldCurl),
		Damaged: v.Get(FieldDamaged) == "true", NewClient: v.Get(FieldNewClient) == "true",
		Regrowth: either(v, FieldRegrowth, FieldRegrowthIn), Sections: v.Get(FieldSections), Plate: either(v, FieldPlate, FieldPlateIn),
		Hands: v.Get(FieldHands), Batches: v.Get(FieldBatches),
		Reach: v.Get(FieldReach), Ponytail: v.Get(FieldPonytail), History: v[FieldHistory],
		ApprovedBy: v.Get(FieldApprovedBy),
		With:       v.Get(FieldWith), How: v.Get(FieldHow), Together: v.Get(FieldTogether),
	}
}

// readOthers lists the services after the first, as many as the form has.
func readOthers(v url.Values) []string {
	n, err := strconv.Atoi(v.Get(FieldMore))
	if err != nil {
		return nil
	}
	var out []string
	for i := 1; i < min(n, MostServices); i++ {
		out = append(out, v.Get(ServiceField(i)))
	}
	return out
}

// Chosen lists the services that are chosen, in order.
func (f BookFields) Chosen() []string {
	var out []string
	for _, id := range append([]string{f.Service}, f.Others...) {
		if id != "" {
			out = append(out, id)
		}
	}
	return out
}

// either is the value of the field that the form has.
func either(v url.Values, cm, in string) string {
	if v.Has(in) {
		return v.Get(in)
	}
	return v.Get(cm)
}

// HairAsked reports whether anything about the hair itself was typed.
func (f BookFields) HairAsked() bool {
	return f.Length+f.Density+f.Strand+f.Porosity+f.Curl+f.Regrowth != "" || f.Damaged || f.Free
}

// PhoneAsked reports whether any of the three questions was answered.
func (f BookFields) PhoneAsked() bool { return f.Reach+f.Ponytail != "" || len(f.History) > 0 }

// ActionKind is what the pressed button asks for.
type ActionKind string

// Actions of the booking form.
const (
	ActNext     ActionKind = "next"     // whatever comes next; what Enter does
	ActFind     ActionKind = "find"     // look for a client
	ActAdd      ActionKind = "add"      // one service more
	ActMore     ActionKind = "more"     // show more times
	ActLater    ActionKind = "later"    // look for times from this day on
	ActOnly     ActionKind = "only"     // look for times with this stylist, "" for anybody
	ActConsult  ActionKind = "consult"  // book the consultation and pencil this opening behind it
	ActShow     ActionKind = "show"     // of a visit that moves: show what this opening changes
	ActMove     ActionKind = "move"     // move it to this opening
	ActKeep     ActionKind = "keep"     // move kept time to the day and time that were typed
	ActEstimate ActionKind = "estimate" // work out the time
	ActQuote    ActionKind = "quote"    // keep its price for the client
	ActOpenings ActionKind = "openings" // find times for it
	ActHair     ActionKind = "hair"     // fill in the hair of a known client as it should be
	ActPlan     ActionKind = "plan"     // take this plan (hands and batches) instead
	ActBook     ActionKind = "book"     // book this opening
	ActPencil   ActionKind = "pencil"   // keep this opening for a while
	ActFirm     ActionKind = "firm"     // book what is pencilled
	ActLonger   ActionKind = "longer"   // keep it for longer
	ActGiveUp   ActionKind = "give_up"  // give it up
)

// Action is a pressed button. Hands and Batches belong to ActPlan, Opening to
// ActBook, ActPencil and ActConsult, Lead to ActOnly and Date to ActLater.
type Action struct {
	Kind           ActionKind
	Hands, Batches int
	Opening        string
	Lead, Date     string
}

// value is what the button posts as FieldDo.
func (a Action) value() string {
	switch a.Kind {
	case ActPlan:
		return string(ActPlan) + ":" + strconv.Itoa(a.Hands) + "/" + strconv.Itoa(a.Batches)
	case ActBook, ActPencil, ActConsult, ActShow, ActMove:
		return string(a.Kind) + ":" + a.Opening
	case ActOnly:
		return string(a.Kind) + ":" + a.Lead
	case ActLater:
		return string(a.Kind) + ":" + a.Date
	default:
		return string(a.Kind)
	}
}

// ParseAction reads the value of FieldDo. It reports false for a value that no
// button of the form has.
func ParseAction(s string) (Action, bool) {
	kind, rest, colon := strings.Cut(s, ":")
	a := Action{Kind: ActionKind(kind)}
	switch a.Kind {
	case ActEstimate, ActQuote, ActOpenings, ActHair, ActFirm, ActLonger, ActGiveUp, ActNext, ActFind, ActAdd, ActMore, ActKeep:
		return a, !colon
	case ActOnly:
		a.Lead = rest
		return a, colon
	case ActLater:
		a.Date = rest
		return a, rest != ""
	case ActPlan:
		h, b, ok := strings.Cut(rest, "/")
		var err1, err2 error
		a.Hands, err1 = strconv.Atoi(h)
		a.Batches, err2 = strconv.Atoi(b)
		return a, ok && err1 == nil && err2 == nil && a.Hands > 0 && a.Batches > 0
	case ActBook, ActPencil, ActConsult, ActShow, ActMove:
		a.Opening = rest
		return a, rest != ""
	default:
		return Action{}, false
	}
}
