package owner

import (
	"fmt"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

// moreMix is how many rows of the usual mix the form has beside those that are
// there (judgement).
const moreMix = 2

// orderPart is what makes one opening better than another: what the parts of a
// ranking are worth, and the usual mix for which room is left.
func orderPart(r api.BookingRules, services []api.ServiceBody, tag string) part {
	f := ruleForm("order", tag)[0]
	w := api.WeightsBody{}
	if r.Ranking != nil {
		w = *r.Ranking
	}
	const worth = "0 to 1000; 0: it does not matter"
	f.Fields = []pages.Field{
		pages.Number("order-ranking-lost", "A visit of a usual day that no longer fits", worth, plain(w.Lost)),
		pages.Number("order-ranking-wish_per_hour", "An hour from the wished time of day", worth, plain(w.Wish)),
		pages.Number("order-ranking-other_lead", "Another stylist than the wished one", worth, plain(w.OtherLead)),
		pages.Number("order-ranking-stay_per_hour", "An hour that the client stays beyond the least", worth, plain(w.Stay)),
		pages.Number("order-ranking-no_slack", "Nothing to spare after steps that cannot wait", worth, plain(w.Slack)),
		pages.Number("order-ranking-later_per_day", "A day later", worth, plain(w.Early)),
		pages.Number("order-ranking-slack_cap_minutes", "More to spare than this is worth nothing", "Minutes, 1 to 120", fmt.Sprint(w.SlackCap)),
	}
	var list []pages.Option
	for _, x := range services {
		list = append(list, pages.Option{ID: x.ID, Name: x.Name})
	}
	for i := range min(20, len(r.UsualMix)+moreMix) {
		var m api.MixBody
		words := "One more service of a usual day"
		if i < len(r.UsualMix) {
			m = r.UsualMix[i]
			words = fmt.Sprintf("A usual day: %d of %s", m.PerDay, nameOf(list, m.ServiceID))
		}
		f.Groups = append(f.Groups, group{Fold: words, Fields: mixFields(fmt.Sprintf("order-usual_mix-%d-", i), m, list)})
	}
	return part{ID: "order", Title: "Which times come first", Forms: []form{f}, Text: []string{
		"Openings that leave room for what a usual day asks for come first. Without a list of your own that is two each of the three dearest services whose time is the same for everybody.",
		"What else counts against a time is weighed against that: 2 beside “A day later” says that a day later is as bad as two visits of a usual day that no longer fit, when that line has a 1."}}
}

func nameOf(list []pages.Option, id string) string {
	for _, o := range list {
		if o.ID == id {
			return o.Name
		}
	}
	return "a service that is not offered any more"
}

// mixFields are the fields of one service of the usual mix. Of its hair those are
// asked that make the time.
func mixFields(at string, m api.MixBody, services []pages.Option) []pages.Field {
	perDay := ""
	if m.PerDay > 0 {
		perDay = fmt.Sprint(m.PerDay)
	}
	worth := ""
	if m.Worth > 0 {
		worth = plain(m.Worth)
	}
	h := api.HeadBody{Density: "medium", Strand: "medium", Porosity: "normal", Sections: 4, Hands: 1, PlateDepthCM: 3}
	length, regrowth := "", ""
	if m.Hair != nil {
		h = *m.Hair
		length, regrowth = zerolessCM(h.LengthCM), zerolessCM(h.RegrowthCM)
	}
	hair, counted := at+"hair-", ""
	if h.Density == "" {
		counted = "as its hairs were counted"
	}
	return []pages.Field{
		pages.Select(at+"service_id", "Service", "", m.ServiceID, services, "none"),
		pages.Number(at+"per_day", "How many of it", "1 to 60 a day", perDay),
		pages.Input(at+"plural", "What several of it are called", "Empty: its name with an s", "text", m.Plural),
		pages.Number(at+"worth", "Weight of one", "Empty: its price", worth),
		pages.Number(hair+"length_cm", "Typical hair: stretched length", "cm; only for a service whose time follows the hair", length),
		pages.Select(hair+"density", "Typical hair: how much", "", h.Density, options("low", "little", "medium", "average", "high", "a lot"), counted),
		choose(hair+"strand", "Typical hair: each hair", h.Strand, "fine", "fine", "medium", "medium", "coarse", "coarse"),
		choose(hair+"porosity", "Typical hair: porosity", h.Porosity, "low", "resistant", "normal", "normal", "high", "porous"),
		pages.Tick(hair+"damaged", "Typical hair: bleached, brittle or weakened", "", h.Damaged),
		pages.Tick(hair+"new_client", "Typical hair: of somebody who is new here", "", h.NewClient),
		pages.Number(hair+"regrowth_cm", "Typical hair: new hair", "cm, when only that is treated", regrowth),
		pages.Number(hair+"sections", "Typical hair: sections", "2 to 8", fmt.Sprint(h.Sections)),
		pages.Number(hair+"plate_depth_cm", "Width of the iron's plates", "cm, 2.5 to 5", plain(h.PlateDepthCM)),
		pages.Number(hair+"hands", "Pairs of hands", "1 or 2", fmt.Sprint(h.Hands)),
	}
}

// orderTyped reads the form. What it does not ask about the hair of a row stays as
// it was as long as the row has the same service.
func (v *visit) orderTyped(r *api.BookingRules, f *faults) {
	w := api.WeightsBody{}
	for field, to := range map[string]*float64{"lost": &w.Lost, "wish_per_hour": &w.Wish, "other_lead": &w.OtherLead, "stay_per_hour": &w.Stay,
		"no_slack": &w.Slack, "later_per_day": &w.Early} {
		x := v.amount("ranking-"+field, f)
		if x == nil && v.typed("ranking-"+field) == "" {
			f.add(v, "ranking-"+field, "Nothing is typed. Right is a number, 0 where it does not matter.")
		}
		*to = orZero(x)
	}
	w.SlackCap = v.must("ranking-slack_cap_minutes", f)
	was := r.UsualMix
	r.Ranking, r.UsualMix = &w, []api.MixBody{}
	for i := 0; v.form.Has(v.name(fmt.Sprintf("usual_mix-%d-service_id", i))); i++ {
		at := fmt.Sprintf("usual_mix-%d-", i)
		if v.typed(at+"service_id") == "" {
			continue
		}
		for field := range v.form {
			if of, ours := strings.CutPrefix(field, v.name(at)); ours {
				v.at[fmt.Sprintf("/usual_mix/%d/%s", len(r.UsualMix), strings.ReplaceAll(of, "-", "/"))] = field
			}
		}
		v.at[fmt.Sprintf("/usual_mix/%d/hair", len(r.UsualMix))] = v.name(at + "hair-length_cm")
		v.at[fmt.Sprintf("/usual_mix/%d", len(r.UsualMix))] = v.name(at + "service_id")
		var old api.MixBody
		if i < len(was) && was[i].ServiceID == v.typed(at+"service_id") {
			old = was[i]
		}
		r.UsualMix = append(r.UsualMix, v.mixTyped(at, old, f))
	}
}

func (v *visit) mixTyped(at string, old api.MixBody, f *faults) api.MixBody {
	m := api.MixBody{ServiceID: v.typed(at + "service_id"), PerDay: v.must(at+"per_day", f), Plural: v.typed(at + "plural"), Worth: orZero(v.amount(at+"worth", f))}
	length := v.amount(at+"hair-length_cm", f)
	free := old.Hair != nil && (old.Hair.FreeLengthCM > 0 || old.Hair.FreeLengthIn != nil) // is known by another length
	if length == nil && !free {
		return m
	}
	var h api.HeadBody
	if old.Hair != nil {
		h = *old.Hair
	}
	h.LengthCM, h.LengthIn, h.LengthWorking = orZero(length), nil, ""
	if length != nil {
		h.FreeLengthCM, h.FreeLengthIn, h.Shrinkage = 0, nil, nil
	}
	if density := v.typed(at + "hair-density"); density != h.Density { // a count of hairs says the same more closely
		h.Density, h.HairsPerCM2 = density, 0
	}
	h.Strand, h.Porosity = v.typed(at+"hair-strand"), v.typed(at+"hair-porosity")
	h.Damaged, h.NewClient = v.ticked(at+"hair-damaged"), v.ticked(at+"hair-new_client")
	h.RegrowthCM, h.RegrowthIn = orZero(v.amount(at+"hair-regrowth_cm", f)), nil
	h.Sections, h.Hands = v.must(at+"hair-sections", f), v.must(at+"hair-hands", f)
	h.PlateDepthCM, h.PlateDepthIn = orZero(v.amount(at+"hair-plate_depth_cm", f)), nil
	m.Hair = &h
	return m
}
