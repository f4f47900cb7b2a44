package api

import (
	"cmp"
	"time"
)

// DayPlanRequest asks how a day could be rearranged and filled.
type DayPlanRequest struct {
	Date    string     `json:"date" format:"date" doc:"Today or a later day"`
	Waiting []string   `json:"waiting_list,omitempty" nullable:"false" maxLength:"64" maxItems:"60" doc:"Ids of waiting-list requests that may get a place, or the one word all; left out: none"`
	Movable []string   `json:"movable,omitempty" nullable:"false" maxLength:"64" maxItems:"60" doc:"Ids of visits of the day that may move, or the one word all_not_started; left out: none"`
	AnyLead bool       `json:"any_lead,omitempty" doc:"Whoever moves may get another stylist in charge; otherwise only when hers is away"`
	Away    []AwayBody `json:"away,omitempty" nullable:"false" maxItems:"40" doc:"Who or what is thought not to be there, beside the absences that are noted. The plan notes none of them"`
	PackBudget
}

// AwayBody is time in which a unit is thought not to be there.
type AwayBody struct {
	UnitID string     `json:"unit_id" maxLength:"64" doc:"A person or a station"`
	From   *time.Time `json:"from,omitempty" doc:"Left out: from the beginning of the day"`
	To     *time.Time `json:"to,omitempty" doc:"Left out: to its end"`
}

// PackBudget bounds a packing.
type PackBudget struct {
	Seconds int   `json:"seconds,omitempty" minimum:"1" maximum:"5" doc:"How long may be looked for something better; left out: 2"`
	Rounds  int   `json:"rounds,omitempty" minimum:"1" maximum:"100000" doc:"How many improvements are tried, instead of seconds: the same rounds and seed give the same answer"`
	Seed    int64 `json:"seed,omitempty" minimum:"0" maximum:"9007199254740991" doc:"Starts the random numbers"`
	Grid    int   `json:"grid_minutes,omitempty" minimum:"1" maximum:"60" doc:"New starts on multiples of this many minutes after midnight; left out: 5"`
}

// budget is what the packing may take.
func (b PackBudget) budget() packBudget {
	if b.Rounds > 0 {
		return packBudget{limit: longestPacking, rounds: b.Rounds, seed: uint64(b.Seed)}
	}
	return packBudget{limit: time.Duration(cmp.Or(b.Seconds, 2)) * time.Second, seed: uint64(b.Seed)}
}

func (b PackBudget) grid() int { return cmp.Or(b.Grid, 5) }

// DayPlanBody is a proposal for a day. It has changed nothing.
type DayPlanBody struct {
	ID         string           `json:"id"`
	Date       string           `json:"date" format:"date"`
	State      string           `json:"state" enum:"proposed,applied"`
	Created    time.Time        `json:"created_at" doc:"As of when it holds"`
	Applied    *time.Time       `json:"applied_at,omitempty"`
	Outdated   string           `json:"outdated,omitempty" doc:"Why it cannot be carried out any more; only in the answer to GET, while it is proposed"`
	Gain       PlanGainBody     `json:"gain"`
	Changes    []PlanChangeBody `json:"changes" nullable:"false" doc:"What moves from where to where, and who gets a place"`
	CannotStay []PlanStuckBody  `json:"cannot_stay" nullable:"false" doc:"Visits that cannot take place as they stand and for which the plan has no place"`
	StaysOut   []PlanLeftBody   `json:"stays_out" nullable:"false" doc:"Waiting-list requests without a place"`
	Cautions   []CautionBody    `json:"cautions" nullable:"false" doc:"What the licensed person has to agree to before the plan is carried out"`
	Words      []string         `json:"words" nullable:"false" doc:"The plan in sentences"`
}

// PlanGainBody is what a plan is good for.
type PlanGainBody struct {
	Added    int64  `json:"added_cents" doc:"Value of the requests that get a place"`
	Kept     int64  `json:"kept_cents" doc:"Value of the visits that could not stay and have a place"`
	Lost     int64  `json:"lost_cents" doc:"Value of the visits that cannot stay and have none"`
	Visits   int    `json:"visits_served" doc:"Visits that may move and have a place"`
	Requests int    `json:"requests_served"`
	Moved    int    `json:"visits_changed"`
	More     *int64 `json:"most_more_cents,omitempty" doc:"No plan for the same visits and requests can be worth more than this beyond this one, a moved visit counted as a loss of 10.00 and 0.10 for every minute; left out when not everybody can be served"`
	Best     bool   `json:"best" doc:"Proven: no plan is worth more"`
}

// PlanChangeBody is one change of a plan.
type PlanChangeBody struct {
	Kind       string        `json:"kind" enum:"book,move,units" doc:"book: a request becomes a visit; move: to another start; units: the same start with other people, chairs or basins, or with other minutes"`
	VisitID    string        `json:"visit_id,omitempty" doc:"Of a request only once the plan is carried out"`
	WaitingID  string        `json:"waiting_list_id,omitempty"`
	ClientID   string        `json:"client_id"`
	Name       string        `json:"name" doc:"First name and initial"`
	State      string        `json:"visit_state,omitempty" enum:"held,booked,arrived,under_way" doc:"Of a visit that is there"`
	Start      time.Time     `json:"start"`
	End        time.Time     `json:"end"`
	FromStart  *time.Time    `json:"from_start,omitempty"`
	FromEnd    *time.Time    `json:"from_end,omitempty"`
	LeadID     string        `json:"lead_id"`
	ChairID    string        `json:"chair_id"`
	FromLeadID string        `json:"from_lead_id,omitempty"`
	FromChair  string        `json:"from_chair_id,omitempty"`
	Alone      bool          `json:"alone,omitempty" doc:"By one pair of hands instead of two, with the minutes that this takes"`
	ValueCents int64         `json:"value_cents"`
	Why        string        `json:"why,omitempty" doc:"Why it cannot stay as it is"`
	Shares     []ShareBody   `json:"shares,omitempty" doc:"Where a stylist works for two clients at once"`
	Cautions   []CautionBody `json:"cautions,omitempty" doc:"What the licensed person has to agree to"`
	Words      string        `json:"words"`
}

// PlanStuckBody is a visit that cannot stay and has no place.
type PlanStuckBody struct {
	VisitID  string          `json:"visit_id"`
	ClientID string          `json:"client_id"`
	Start    time.Time       `json:"start"`
	MayMove  bool            `json:"may_move" doc:"Whether the plan looked for another place for it"`
	Why      string          `json:"why"`
	Refused  []CautionBody   `json:"refused,omitempty" doc:"Why it cannot be done by one pair of hands"`
	Offers   []PlanOfferBody `json:"offers" nullable:"false" doc:"What may help"`
	Words    string          `json:"words"`
}

// PlanLeftBody is a waiting-list request without a place.
type PlanLeftBody struct {
	WaitingID    string     `json:"waiting_list_id"`
	ClientID     string     `json:"client_id"`
	ValueCents   int64      `json:"value_cents"`
	FirstAllowed *time.Time `json:"first_allowed,omitempty" doc:"First start at which services of this client are far enough apart"`
	Why          string     `json:"why"`
	Words        string     `json:"words"`
}
