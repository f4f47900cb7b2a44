package main

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"time"

	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// demoPace is how the stylists of the demonstration really work beside the
// sheet, by kind of step; whoever and whatever is missing works by it.
var demoPace = map[string]map[scheduling.StepKind]float64{
	"Ada Birch": {scheduling.Iron: 1.16, scheduling.Apply: 1.08},
	"Noor Vale": {scheduling.Iron: 0.95},
}

// finish ends a visit of the past: one with an estimate took as long as its
// stylists really take, give or take chance; any other went as planned.
func (d *demoSalon) finish(ctx context.Context, v store.Visit) error {
	if len(v.Services) != 1 || v.Services[0].Estimate == nil {
		return d.server.Finish(ctx, d.row.ID, v.ID)
	}
	took, err := d.took(ctx, v)
	if err != nil {
		return err
	}
	end := v.End
	for i, t := range took {
		end = end.Add(t - v.Steps[i].End.Sub(v.Steps[i].Start))
	}
	if end.After(d.now) { // still going on, strictly speaking
		return d.server.Finish(ctx, d.row.ID, v.ID)
	}
	return d.server.FinishAs(ctx, d.row.ID, v.ID, took)
}

// took draws a length for each step; the same visit always takes the same.
// Steps of fixed length take as long as planned.
func (d *demoSalon) took(ctx context.Context, v store.Visit) ([]time.Duration, error) {
	var row store.Estimate
	err := d.store.InTx(ctx, d.row.ID, func(t *store.Tx) (err error) { row, err = t.EstimateByID(ctx, *v.Services[0].Estimate); return err })
	if err != nil {
		return nil, err
	}
	var e api.EstimateBody
	if err := json.Unmarshal(row.Result, &e); err != nil {
		return nil, err
	}
	c, pace := chairtime.Demo(), demoPace[d.nameOf(v.Lead())]
	day := scheduling.CivilDate(v.Start, d.loc)
	r := rand.New(rand.NewPCG(uint64(day.Sub(date.Date{})), uint64(v.Start.Unix())))
	common := r.NormFloat64()
	out := make([]time.Duration, len(v.Steps))
	for i, st := range v.Steps {
		out[i] = st.End.Sub(st.Start)
		if i >= len(e.Steps) || e.Steps[i].Kind != st.Kind {
			continue
		}
		s := c.Expect(scheduling.StepKind(st.Kind), e.Steps[i].MeanMinutes)
		minutes := s.Mean
		if !s.Fixed {
			if f := e.Steps[i].PaceFactor; f > 0 {
				minutes /= f
			}
			if f, ok := pace[scheduling.StepKind(st.Kind)]; ok {
				minutes *= f
			}
			sigma := math.Sqrt(math.Log1p(s.SD * s.SD / (s.Mean * s.Mean)))
			z := math.Sqrt(c.Correlation)*common + math.Sqrt(1-c.Correlation)*r.NormFloat64()
			minutes *= math.Exp(sigma*z - sigma*sigma/2)
		}
		out[i] = time.Duration(minutes * float64(time.Minute))
	}
	return out, nil
}

func (d *demoSalon) nameOf(staff string) string {
	for _, p := range d.staff {
		if p.ID == staff {
			return p.Name
		}
	}
	return ""
}
