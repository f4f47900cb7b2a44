package api

import (
	"context"
	"math"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// ironRecords notes for the iron of a visit how long it takes every stylist of
// whom there are records, by her own pace: no remedy asks her to be faster.
func (x *lateDay) ironRecords(ctx context.Context, t *store.Tx, v store.Visit, care []delays.Care) error {
	if err := x.readIrons(ctx, t); err != nil || len(x.irons) == 0 {
		return err
	}
	for i, st := range v.Steps {
		if st.Kind != string(scheduling.Iron) || i >= len(care) || v.Services[st.Service].Estimate == nil {
			continue
		}
		row, err := t.EstimateByID(ctx, *v.Services[st.Service].Estimate)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		if w.hair.Hands > 1 { // a pace of two is nobody's own
			continue
		}
		for _, s := range w.result.Steps {
			if s.Kind != st.Kind {
				continue
			}
			sheet := s.MeanMinutes
			if s.PaceFactor > 0 {
				sheet /= s.PaceFactor
			}
			care[i].Least = map[string]openings.Minute{}
			for staff, factor := range x.irons {
				care[i].Least[staff] = openings.Minute(math.Floor(sheet * factor))
			}
		}
	}
	return nil
}

// readIrons reads everybody's pace with the iron, once.
func (x *lateDay) readIrons(ctx context.Context, t *store.Tx) error {
	set, err := paceSettings(x.n.row)
	if err != nil || x.irons != nil || !set.learns() {
		return err
	}
	rows, err := t.AllPaces(ctx)
	if err != nil {
		return err
	}
	x.irons = map[string]float64{}
	for _, r := range rows {
		if r.Kind == scheduling.Iron && r.Staff != "" && !r.Pair && !set.person(r.Staff).Off {
			x.irons[r.Staff] = r.Factor
		}
	}
	return nil
}
