package api

import (
	"context"
	"strings"
	"time"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// ownStages are the parts of a long visit as a client lives through them, with the
// kinds of steps that belong to each.
var ownStages = map[string]string{
	string(scheduling.Talk): "stage_before", string(scheduling.Wash): "stage_before", string(scheduling.Prep): "stage_before",
	string(scheduling.Apply): "stage_solution", string(scheduling.Process): "stage_solution", string(scheduling.Rinse1): "stage_solution",
	string(scheduling.Apply1): "stage_solution", string(scheduling.Process1): "stage_solution", string(scheduling.Check1): "stage_solution",
	string(scheduling.Apply2): "stage_solution", string(scheduling.Process2): "stage_solution", string(scheduling.Check2): "stage_solution",
	string(scheduling.Dry1): "stage_iron", string(scheduling.Iron): "stage_iron",
	string(scheduling.Neutral): "stage_neutralizer", string(scheduling.Dwell): "stage_neutralizer", string(scheduling.Rinse2): "stage_neutralizer",
	string(scheduling.Dry2): "stage_after", string(scheduling.Finish): "stage_after", string(scheduling.Close): "stage_after",
}

// howLong says how long a visit is and why.
func (d *ownDoc) howLong(ctx context.Context, x store.Visit) error {
	if len(x.Steps) == 0 {
		return nil
	}
	d.sub("how_long")
	for _, k := range x.Services {
		if k.Estimate == nil {
			continue
		}
		row, err := d.t.EstimateByID(ctx, *k.Estimate)
		if err != nil {
			return err
		}
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		d.sayHair(k, w)
	}
	d.add(pages.OwnBlock{Items: d.stages(x)})
	return nil
}

// quarter is what lengths of a visit are rounded to, in minutes, as people say them
// (judgement).
const quarter = 15

// sayHair says what of the hair makes the visit as long as it is: between the
// length that 2 of 10 such visits stay below and the one that 8 of 10 do. The total
// is log-normal, so that the first is the median squared by the second.
func (d *ownDoc) sayHair(k store.VisitService, w *worked) {
	e := w.result
	low := e.Total.P50Minutes * e.Total.P50Minutes / max(e.Total.P80Minutes, 1)
	from := int(low) / quarter * quarter
	to := (int(e.Total.P80Minutes) + quarter) / quarter * quarter
	says := notify.Says{"service": k.Name, "hair": d.hair(w.hair), "panels": e.Panels, "keep": minutesOf(e.BlockMinutes)}
	if from < to && from > 0 && e.BlockMinutes > 0 {
		says["from"], says["to"] = minutesOf(from), minutesOf(min(to, e.BlockMinutes))
	}
	d.say("", "why_so_long", says)
}

func minutesOf(n int) time.Duration { return time.Duration(n) * time.Minute }

// hair says hair in the words of the page.
func (v *ownView) hair(h HeadBody) notify.Said {
	parts := []string{string(v.said("hair_length", notify.Says{"length": notify.Hair(h.LengthCM)}))}
	for _, x := range [][2]string{{"hair_amount_", h.Density}, {"hair_each_", h.Strand}, {"hair_porosity_", h.Porosity}} {
		if x[1] == "" || x[0] == "hair_porosity_" && x[1] == "normal" {
			continue
		}
		parts = append(parts, string(v.said(x[0]+x[1], nil)))
	}
	if h.RegrowthCM > 0 {
		parts = append(parts, string(v.said("hair_new", notify.Says{"length": notify.Hair(h.RegrowthCM)})))
	}
	return notify.Said(strings.Join(parts, ", "))
}

// stages are the parts of a visit with their minutes, waits left out.
func (d *ownDoc) stages(x store.Visit) []pages.OwnText {
	type stage struct {
		name, label string
		length      time.Duration
	}
	var list []stage
	for _, st := range x.Steps {
		s := stage{length: st.End.Sub(st.Start)}
		if treats(x) {
			s.name = ownStages[st.Kind]
		}
		if s.name == "" {
			s.label = st.Label
		}
		if i := len(list) - 1; i >= 0 && list[i].name == s.name && list[i].label == s.label {
			list[i].length += s.length
			continue
		}
		list = append(list, s)
	}
	var out []pages.OwnText
	for _, s := range list {
		says := notify.Says{"long": s.length}
		if s.name == "" {
			says["step"] = s.label
			out = append(out, d.text("stage_other", says))
			continue
		}
		out = append(out, d.text(s.name, says))
	}
	return out
}
