package api

import (
	"math"
	"slices"

	"chairblock/scheduling"
	"chairblock/scheduling/pace"
)

// QuartileBody says how the real minutes of a kind of step lay around the
// expected ones.
type QuartileBody struct {
	Kind     string  `json:"kind" example:"iron"`
	Label    string  `json:"label" example:"iron"`
	Steps    int     `json:"steps" doc:"Steps that were noted"`
	Expected float64 `json:"expected_minutes" doc:"Mean of what the sheet expected of them"`
	Low      float64 `json:"low" doc:"A quarter of them took less than this part of the expected minutes"`
	Middle   float64 `json:"middle"`
	High     float64 `json:"high" doc:"A quarter took more"`
}

// quartiles compares real with expected minutes, in the order in which kinds
// first come.
func quartiles(list []pace.Observation, of reportFor) []QuartileBody {
	ratios := map[scheduling.StepKind][]float64{}
	sheet := map[scheduling.StepKind]float64{}
	var order []scheduling.StepKind
	for _, o := range list {
		if o.Out != "" || of.nobody || of.only != "" && o.Staff != of.only || !(o.Sheet > 0) || !(o.Real > 0) {
			continue
		}
		if ratios[o.Kind] == nil {
			order = append(order, o.Kind)
		}
		ratios[o.Kind] = append(ratios[o.Kind], o.Real/o.Sheet)
		sheet[o.Kind] += o.Sheet
	}
	out := []QuartileBody{}
	for _, k := range order {
		r := ratios[k]
		slices.Sort(r)
		out = append(out, QuartileBody{string(k), k.Words(), len(r), decimals(sheet[k]/float64(len(r)), 2),
			decimals(quantileOf(r, 0.25), 4), decimals(quantileOf(r, 0.5), 4), decimals(quantileOf(r, 0.75), 4)})
	}
	return out
}

// quantileOf is the value below which the share q of sorted values lies, between
// two of them where it falls there.
func quantileOf(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(math.Floor(at))
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
