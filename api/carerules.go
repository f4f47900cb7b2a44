package api

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// CareRules are how long treated hair is left alone, how quickly hair grows and
// when clients are called back. What is 0 or left out has the program's default.
type CareRules struct {
	KeepDryHours float64 `json:"keep_dry_hours,omitempty" minimum:"0" maximum:"72" doc:"Elapsed hours that treated hair stays dry, 48 to 72; left out: 48"`
	NoTieHours   float64 `json:"no_tie_hours,omitempty" minimum:"0" maximum:"168" doc:"Elapsed hours that it is not tied, tucked or clipped, 48 to 168; left out: 48"`
	GrowthCM     float64 `json:"growth_cm_per_month,omitempty" minimum:"0" maximum:"1.3" doc:"Usual growth, 0.8 to 1.3, until a client's own is measured; left out: 1.1"`
	SlowCM       float64 `json:"slow_cm_per_month,omitempty" minimum:"0" maximum:"1.1" doc:"Slow growth, 0.5 to 1.1; left out: 0.8"`
	QuickCM      float64 `json:"quick_cm_per_month,omitempty" minimum:"0" maximum:"1.6" doc:"Quick growth, 1.1 to 1.6; left out: 1.3"`
	Spread       float64 `json:"growth_spread,omitempty" minimum:"0" maximum:"0.5" doc:"Spread of a client's own growth as a share of it; left out: 0.15"`
	DueCM        float64 `json:"retouch_due_cm,omitempty" minimum:"0" maximum:"20" doc:"New hair at which to remind of a retouch, 2 to 20; left out: 7.5"`
	LookCM       float64 `json:"retouch_look_cm,omitempty" minimum:"0" maximum:"20" doc:"New hair from which a look is offered, 1 to 20; left out: 5"`
	FloorMonths  int     `json:"retouch_floor_months,omitempty" minimum:"0" maximum:"12" doc:"No retouch before so many months, 1 to 12; left out: 4"`
	CapMonths    int     `json:"retouch_cap_months,omitempty" minimum:"0" maximum:"24" doc:"A reminder after so many months at the latest, 1 to 24; left out: 12"`

	InInches *CareInches `json:"in_inches,omitempty" readOnly:"true" doc:"The lengths in inches, where the salon measures in them"`
}

// CareInches are the lengths of CareRules in inches.
type CareInches struct {
	Growth float64 `json:"growth_in_per_month"`
	Slow   float64 `json:"slow_in_per_month"`
	Quick  float64 `json:"quick_in_per_month"`
	Due    float64 `json:"retouch_due_in"`
	Look   float64 `json:"retouch_look_in"`
}

// care is CareRules as the core reads them.
type care struct {
	after  scheduling.Aftercare
	growth scheduling.Regrowth
}

// core lays b over the defaults.
func (b CareRules) core() care {
	c := care{scheduling.DefaultAftercare(), scheduling.DefaultRegrowth()}
	hours := func(v float64, into *time.Duration) {
		if v != 0 {
			*into = time.Duration(v * float64(time.Hour))
		}
	}
	hours(b.KeepDryHours, &c.after.KeepDry)
	hours(b.NoTieHours, &c.after.NoTie)
	for _, x := range []struct {
		v    float64
		into *float64
	}{{b.GrowthCM, &c.growth.Rate}, {b.SlowCM, &c.growth.Slow}, {b.QuickCM, &c.growth.Quick}, {b.Spread, &c.growth.OwnSpread},
		{b.DueCM, &c.growth.Due}, {b.LookCM, &c.growth.LookFrom}} {
		if x.v != 0 {
			*x.into = x.v
		}
	}
	if b.FloorMonths != 0 {
		c.growth.FloorMonths = b.FloorMonths
	}
	if b.CapMonths != 0 {
		c.growth.CapMonths = b.CapMonths
	}
	return c
}

// check returns Faults for what is outside its range or contradicts the rest.
func (c care) check() error {
	var f scheduling.Faults
	if err := f.Join("", c.after.Validate()); err != nil {
		return err
	}
	if err := f.Join("", c.growth.Validate()); err != nil {
		return err
	}
	return f.Err()
}

// careOf reads the rules of a salon's row over the defaults.
func careOf(n store.Salon) (care, error) {
	var b CareRules
	if len(n.Care) > 0 {
		if err := json.Unmarshal(n.Care, &b); err != nil {
			return care{}, fmt.Errorf("api: care rules of salon: %w", err)
		}
	}
	return b.core(), nil
}

type careInput struct {
	Precondition
	Body CareRules
}

func (s *Server) careRoutes() {
	route(s, huma.Operation{OperationID: "get-care-rules", Method: http.MethodGet, Path: "/care-rules",
		Summary: "How long treated hair is left alone, how it grows and when clients are called back"}, s.getCareRules)
	route(s, huma.Operation{OperationID: "set-care-rules", Method: http.MethodPut, Path: "/care-rules",
		Summary: "Replace these rules; calendars and waiting messages follow"}, s.setCareRules)
}

func writeCare(n store.Salon) (*found[CareRules], error) {
	c, err := careOf(n)
	g := c.growth
	b := CareRules{KeepDryHours: c.after.KeepDry.Hours(), NoTieHours: c.after.NoTie.Hours(), GrowthCM: g.Rate, SlowCM: g.Slow, QuickCM: g.Quick,
		Spread: g.OwnSpread, DueCM: g.Due, LookCM: g.LookFrom, FloorMonths: g.FloorMonths, CapMonths: g.CapMonths}
	if unitsOf(n).Inches {
		in := chairtime.InchesOfCM
		b.InInches = &CareInches{in(g.Rate), in(g.Slow), in(g.Quick), in(g.Due), in(g.LookFrom)}
	}
	return &found[CareRules]{ETag: etag(n.Version), Body: b}, err
}

func (s *Server) getCareRules(ctx context.Context, _ *empty) (*found[CareRules], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	return writeCare(n)
}

func (s *Server) setCareRules(ctx context.Context, in *careInput) (*found[CareRules], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	in.Body.InInches = nil
	if err := in.Body.core().check(); err != nil {
		return nil, err
	}
	doc, err := json.Marshal(in.Body)
	if err != nil {
		return nil, fmt.Errorf("api: care rules: %w", err)
	}
	var row store.Salon
	err = s.inTx(ctx, func(t *store.Tx) error {
		// Visits are locked before calendars, as everywhere.
		if _, err := t.PartsInCare(ctx, "", s.now()); err != nil {
			return err
		}
		if row, err = t.SetCareRules(ctx, version, doc); err != nil {
			return err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		return followCare(ctx, t, n, "", s.now())
	})
	if err != nil {
		return nil, err
	}
	return writeCare(row)
}

// spacing are the program's rules of spacing with the salon's hours of
// aftercare: a wash may not come before the hair may get wet.
func (c care) spacing() []scheduling.SpacingRule {
	rules := scheduling.DefaultSpacing()
	hours := int(math.Ceil(c.after.KeepDry.Hours()))
	for i := range rules {
		if r := &rules[i]; r.After == scheduling.FamilyStraightening && r.Before == scheduling.FamilyWet && r.Hours != hours {
			r.Hours, r.Words = hours, fmt.Sprintf("hair stays dry for %d hours after straightening", hours)
		}
	}
	return rules
}
