package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/ranking"
	"chairblock/store"
)

// BookingRules are a salon's own rules of booking. What a salon has not set has
// the default of defaultRules.
type BookingRules struct {
	HoldMinutes int `json:"hold_minutes" minimum:"1" maximum:"1440" doc:"How long an opening is pencilled while the client decides"`
	// TogetherMinutes is how far apart visits may start whose clients arrive together.
	TogetherMinutes int `json:"arrive_together_minutes,omitempty" minimum:"1" maximum:"120" doc:"How far apart visits may start whose clients arrive together; left out: 15"`
	// MissedAfterMinutes is when the desk is asked whether a client came.
	MissedAfterMinutes int `json:"missed_after_minutes,omitempty" minimum:"1" maximum:"240" doc:"How late a client is when the desk is asked whether she comes; left out: 20"`
	// ShareOverrunLimit is the greatest chance of an overrun at which work for a
	// second client is offered; never nil once read.
	ShareOverrunLimit *float64 `json:"share_overrun_limit,omitempty" minimum:"0" maximum:"0.5" doc:"A stylist is given a second client in time in which the first does not need her only when the chance that she comes back late is at most this; left out: 0.05"`
	// FollowUpsFree is never nil once read.
	FollowUpsFree *bool             `json:"follow_ups_free,omitempty" doc:"First wash checks and corrections cost nothing; left out: true"`
	StylistClears string            `json:"stylist_clears,omitempty" enum:"auto,always,never" doc:"Whether the stylist in charge spends the clearing of the chair herself; auto: when nobody assists here; left out: auto"`
	Spacing       []SpacingRuleBody `json:"spacing" required:"false" nullable:"true" doc:"How far apart services of one client have to be, instead of the rules that the program brings along; left out or null: those"`
	UsualMix      []MixBody         `json:"usual_mix" required:"false" nullable:"true" doc:"What a usual day asks for: openings that leave room for it rank first. Left out or empty: two each of the three dearest services whose time is the same for everybody"`
	Money         *MoneyRulesBody   `json:"money,omitempty" doc:"Quotes and deposits; left out: the program's own rules"`
	// AssistantSteps are the salon's own; see assistants.
	AssistantSteps []string     `json:"assistant_steps" required:"false" nullable:"true" maxItems:"60" doc:"Kinds of steps that an assistant may do here; every other step is the licensed person's, whatever a service says. Local rules differ: West Virginia Code 30-27-11a, for one, lets the holder of a shampoo assistant's permit only shampoo and rinse, take out rods and do basin work, under supervision. Left out or null: wash, rinse and dry; empty: none"`
	Needs          *NeedRules   `json:"needs,omitempty" doc:"What a visit needs before it may begin; left out: the program's own rules"`
	ClientCancels  HoursOrAsk   `json:"client_may_cancel_hours,omitzero" required:"false" doc:"Until how many hours before a visit its client may cancel it on her own pages; null: she asks the salon; left out: 48"`
	ClientMoves    HoursOrAsk   `json:"client_may_move_hours,omitzero" required:"false" doc:"The same for another time; left out: 48"`
	Ranking        *WeightsBody `json:"ranking,omitempty" doc:"What the parts of a ranking are worth, in lost standard visits; left out: the program's own"`
}

// defaultRules are judgement throughout: values to begin with, for every salon
// to change.
func defaultRules() BookingRules {
	return BookingRules{HoldMinutes: 10, TogetherMinutes: 15, MissedAfterMinutes: 20, ShareOverrunLimit: new(defaultShareLimit), FollowUpsFree: new(true),
		StylistClears: clearsAuto, ClientCancels: HoursOrAsk{hours: ownHours, set: true}, ClientMoves: HoursOrAsk{hours: ownHours, set: true},
		Spacing: spacingBodies(scheduling.DefaultSpacing()), UsualMix: []MixBody{}, Ranking: new(weightsBody(ranking.DefaultWeights())),
		Money: new(defaultMoneyRules()), Needs: (*NeedRules)(nil).filled()}
}

// check adds the faults of b to f.
func (b BookingRules) check(f *scheduling.Faults) {
	if b.HoldMinutes < 1 || b.HoldMinutes > 1440 {
		f.Addf("hold_minutes", "1 to 1440 minutes", "is %d", b.HoldMinutes)
	}
	if b.TogetherMinutes < 0 || b.TogetherMinutes > 120 { // 0 is left out
		f.Addf("arrive_together_minutes", "1 to 120 minutes", "is %d", b.TogetherMinutes)
	}
	if b.MissedAfterMinutes < 0 || b.MissedAfterMinutes > 240 { // 0 is left out
		f.Addf("missed_after_minutes", "1 to 240 minutes", "is %d", b.MissedAfterMinutes)
	}
	if b.ShareOverrunLimit != nil {
		f.Between("share_overrun_limit", *b.ShareOverrunLimit, 0, 0.5, "")
	}
	b.ClientCancels.check(f, "client_may_cancel_hours")
	b.ClientMoves.check(f, "client_may_move_hours")
	b.checkAssistants(f)
	checkSpacing(f, b.Spacing)
	b.Needs.check(f)
	b.Money.check(f)
	if b.Ranking != nil {
		_ = f.Join("ranking", b.Ranking.weights().Validate())
	}
}

// bookingRules reads the rules of a salon's row over the defaults.
func bookingRules(n store.Salon) (BookingRules, error) {
	b := defaultRules()
	looked, err := careOf(n)
	if err != nil {
		return b, err
	}
	b.Spacing = spacingBodies(looked.spacing())
	if len(n.Booking) == 0 {
		return b, nil
	}
	b.Spacing = nil // a list is replaced as a whole
	b.Money = nil   // a share must not stand beside a sum
	if err := json.Unmarshal(n.Booking, &b); err != nil {
		return b, fmt.Errorf("api: booking rules of salon: %w", err)
	}
	if b.UsualMix == nil {
		b.UsualMix = []MixBody{}
	}
	if b.Spacing == nil {
		b.Spacing = spacingBodies(looked.spacing())
	}
	b.Money = new(b.Money.filled())
	b.Needs = b.Needs.filled()
	return b, nil
}

type rulesInput struct {
	Precondition
	Body RulesAnswer // so that an answer can be sent back
}

func (s *Server) ruleRoutes() {
	route(s, huma.Operation{OperationID: "get-booking-rules", Method: http.MethodGet, Path: "/booking-rules",
		Summary: "The salon's rules of booking"}, s.getRules)
	route(s, huma.Operation{OperationID: "set-booking-rules", Method: http.MethodPut, Path: "/booking-rules",
		Summary: "Replace the rules of booking"}, s.setRules)
}

func (s *Server) getRules(ctx context.Context, _ *empty) (out *found[RulesAnswer], err error) {
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := t.SalonRow(ctx)
		if err != nil {
			return err
		}
		out, err = s.writeRules(ctx, t, n)
		return err
	})
	return out, err
}

func (s *Server) setRules(ctx context.Context, in *rulesInput) (out *found[RulesAnswer], err error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	in.Body.check(&f)
	if err := f.Err(); err != nil {
		return nil, err
	}
	err = s.inTx(ctx, func(t *store.Tx) error {
		day, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		if err := in.Body.checkMix(ctx, t, day); err != nil {
			return err
		}
		in.Body.UsualMix = settledMix(in.Body.UsualMix, day.time)
		doc, err := json.Marshal(in.Body.BookingRules)
		if err != nil {
			return fmt.Errorf("api: booking rules: %w", err)
		}
		n, err := t.SetBookingRules(ctx, version, doc)
		if err != nil {
			return err
		}
		out, err = s.writeRules(ctx, t, n)
		return err
	})
	return out, err
}
