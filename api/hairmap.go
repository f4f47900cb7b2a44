package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

// HairMapBody is a client's hair from scalp to ends.
type HairMapBody struct {
	On       string         `json:"on" format:"date"`
	LengthCM float64        `json:"length_cm,omitempty" doc:"Left out when nobody has measured it"`
	LengthIn *float64       `json:"length_in,omitempty"`
	Zones    []HairZoneBody `json:"zones" nullable:"false" doc:"From the scalp to the ends, without gaps"`
	Done     []HairDoneBody `json:"done" nullable:"false" doc:"What was done here, and elsewhere as told, oldest first"`
	Cuts     []HairCutBody  `json:"cuts" nullable:"false" doc:"What was cut: as told, or because the hair was shorter than it should have been"`
	CutCM    float64        `json:"cut_cm" doc:"All of that together"`
	CutIn    *float64       `json:"cut_in,omitempty"`
	Growth   HairGrowthBody `json:"growth"`
	Cautions []CautionBody  `json:"cautions" nullable:"false"`
	Ask      []HairAskBody  `json:"ask" nullable:"false" doc:"What has to be asked before the map holds"`
	Safety   string         `json:"safety"`
}

// HairZoneBody is a stretch of hair with one history.
type HairZoneBody struct {
	FromCM   float64  `json:"from_cm" doc:"Distance from the scalp"`
	ToCM     float64  `json:"to_cm"`
	FromIn   *float64 `json:"from_in,omitempty"`
	ToIn     *float64 `json:"to_in,omitempty"`
	Kind     string   `json:"kind" enum:"new_growth,untreated,treated_once,treated_more,unknown"`
	Times    int      `json:"times" doc:"How often it was treated, as far as known"`
	Overlaps int      `json:"overlaps" doc:"How often product or heat of a retouch reached it beyond the new hair"`
	More     bool     `json:"maybe_more" doc:"Nobody knows all that was done before the salon first saw it"`
	Bleached bool     `json:"bleached"`
	DoneBy   []int    `json:"done_by" nullable:"false" doc:"What reached it, as places in done"`
	Words    string   `json:"words"`
}

// HairDoneBody is work on the hair.
type HairDoneBody struct {
	ID      string `json:"id,omitempty" doc:"Of what was noted as done elsewhere"`
	Where   string `json:"where" enum:"here,elsewhere" doc:"elsewhere: as told"`
	DoneOn  string `json:"done_on" format:"date"`
	Kind    string `json:"kind" enum:"straightened,retouched,relaxer_or_perm,bleached_or_highlighted,coloured,henna_or_other,not_sure,untreated"`
	Service string `json:"service,omitempty" doc:"As the salon called it"`
	Stopped bool   `json:"stopped_early,omitempty"`
	Part    string `json:"part,omitempty" doc:"Which part of the head, where it was not all of it"`
}

// HairCutBody is what was cut between two days.
type HairCutBody struct {
	From string   `json:"first_date" format:"date"`
	To   string   `json:"last_date" format:"date"`
	CM   float64  `json:"cm"`
	In   *float64 `json:"in,omitempty"`
}

func (s *Server) hairMapRoutes() {
	route(s, huma.Operation{OperationID: "get-hair-map", Method: http.MethodGet, Path: "/clients/{id}/hair-map",
		Summary: "What was done to a client's hair, from scalp to ends"}, s.hairMap)
	s.hairTreatmentRoutes()
}

func (s *Server) hairMap(ctx context.Context, in *hairQuery) (*found[HairMapBody], error) {
	return onHair(ctx, s, in, func(p hairPast, n salonDay, on date.Date, cut *float64) (HairMapBody, error) {
		return p.until(on).drawn(n, on, cut)
	})
}

// history is what the core makes a map of, and what is shown of each piece of
// work, in order of days.
func (p hairPast) history(n salonDay) (scheduling.HairHistory, []HairDoneBody) {
	h := scheduling.HairHistory{Told: len(p.told) > 0}
	type piece struct {
		done scheduling.HairDone
		body HairDoneBody
	}
	var all []piece
	for _, w := range p.work {
		d := scheduling.HairDone{On: w.on, Work: scheduling.Straightened}
		if r := w.hair.RegrowthCM; r > 0 && r <= n.time.UntreatedShare*w.hair.LengthCM {
			d.Work, d.NewCM, d.OverlapCM = scheduling.Retouched, r, n.time.RetouchOverlap
		}
		all = append(all, piece{d, HairDoneBody{Where: "here", DoneOn: w.on.String(), Kind: string(d.Work), Service: w.service,
			Stopped: w.stopped, Part: partWords(w.hair)}})
	}
	for _, x := range p.told {
		d := scheduling.HairDone{On: x.DoneOn, Work: scheduling.HairWork(x.Kind)}
		all = append(all, piece{d, HairDoneBody{ID: x.ID, Where: "elsewhere", DoneOn: x.DoneOn.String(), Kind: x.Kind}})
	}
	slices.SortStableFunc(all, func(a, b piece) int { return int(a.done.On.Sub(b.done.On)) })
	bodies := make([]HairDoneBody, len(all))
	for i, x := range all {
		h.Done, bodies[i] = append(h.Done, x.done), x.body
	}
	for i, x := range p.seen {
		if i+1 < len(p.seen) && p.seen[i+1].on.Equal(x.on) {
			continue // measured later that day
		}
		m := scheduling.HairMeasured{On: x.on, LengthCM: x.hair.LengthCM}
		if x.head != "" {
			m.NewCM = x.hair.RegrowthCM
		}
		h.Measured = append(h.Measured, m)
	}
	return h, bodies
}

// partWords names the part of the head that was treated, "" for all of it.
func partWords(b HeadBody) string {
	switch {
	case len(b.Areas) > 0:
		return areaWords(b.Areas)
	case b.AreaShare > 0 && b.AreaShare < 1:
		return fmt.Sprintf("%.0f %% of the scalp", 100*b.AreaShare)
	}
	return ""
}

// drawn is the map of the hair on a day.
func (p hairPast) drawn(n salonDay, on date.Date, cut *float64) (HairMapBody, error) {
	u, g := n.time.Units, p.growth(n)
	h, done := p.history(n)
	out := HairMapBody{On: on.String(), Zones: []HairZoneBody{}, Done: done, Cuts: []HairCutBody{}, Growth: p.growthBody(n, g),
		Cautions: []CautionBody{}, Ask: []HairAskBody{}, Safety: chairtime.SafetyLine}
	if len(h.Measured) == 0 {
		out.Ask = append(out.Ask, HairAskBody{"measure", "This hair was never measured here: measure it first."})
		return out, nil
	}
	last := h.Measured[len(h.Measured)-1].On
	if cut != nil {
		h.CutCM = *cut
	} else if on.After(last) {
		out.Ask = append(out.Ask, HairAskBody{"cut_since", fmt.Sprintf("How much was cut since %s? Send it as cut_%s; 0 when nothing was.",
			last.Format("2 January 2006"), u.LengthUnit())})
	}
	m, err := scheduling.MapHair(h, g, on)
	if err != nil {
		return out, err
	}
	out.LengthCM, out.LengthIn = decimals(m.LengthCM, 1), inchesIf(u, decimals(m.LengthCM, 1))
	for _, z := range m.Zones {
		out.Zones = append(out.Zones, zoneBody(z, m, u))
	}
	for _, c := range m.Cuts {
		out.Cuts = append(out.Cuts, HairCutBody{c.From.String(), c.To.String(), decimals(c.CM, 1), inchesIf(u, decimals(c.CM, 1))})
		out.CutCM += c.CM
	}
	out.CutCM = decimals(out.CutCM, 1)
	out.CutIn = inchesIf(u, out.CutCM)
	for _, c := range chairtime.HairCautions(h, m, u) {
		out.Cautions = append(out.Cautions, CautionBody{string(c.Level), c.Code, c.Text})
	}
	if !h.Told {
		out.Ask = append(out.Ask, HairAskBody{"consultation", "Ask what was done to the hair elsewhere in the last three years, and note it."})
	}
	return out, nil
}

func zoneBody(z scheduling.HairZone, m scheduling.HairMap, u chairtime.Units) HairZoneBody {
	from, to := decimals(z.From, 1), decimals(z.To, 1)
	b := HairZoneBody{FromCM: from, ToCM: to, FromIn: inchesIf(u, from), ToIn: inchesIf(u, to), Times: z.Times, Overlaps: z.Overlaps,
		More: z.Unknown, Bleached: z.Bleached, DoneBy: append([]int{}, z.By...)}
	var words string
	switch {
	case z.Times >= 2:
		b.Kind, words = "treated_more", fmt.Sprintf("treated %d times", z.Times)
	case z.Times == 1:
		b.Kind, words = "treated_once", "treated once"
	case z.Unknown:
		b.Kind, words = "unknown", "not known what was done"
	case z.To <= m.New+1e-9 && m.New < m.LengthCM:
		b.Kind, words = "new_growth", "new growth"
	default:
		b.Kind, words = "untreated", "untreated"
	}
	if z.Unknown && z.Times > 0 {
		words = "at least " + words
	}
	if z.Bleached {
		words += ", bleached or highlighted"
	}
	if z.Overlaps > 0 {
		words += ", reached beside it by a retouch"
	}
	b.Words = fmt.Sprintf("%s to %s: %s", u.Length(from), u.Length(to), words)
	return b
}

// areaWords names parts of the head.
func areaWords(areas []string) string {
	words := make([]string, len(areas))
	for i, a := range areas {
		words[i] = strings.ReplaceAll(a, "_", " and ")
	}
	return strings.Join(words, ", ")
}
